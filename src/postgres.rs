//! The private PostgreSQL of demo, tests and small offices.
