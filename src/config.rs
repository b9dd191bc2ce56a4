//! One typed configuration.
