//! The offline verifier: a bag in, a verdict out; stands on the pure rooms alone.
