//! HTML pages over the same services as the API.
