//! Estimators, distributions and quantiles: the only room where `f64` is at home.
