//! service
