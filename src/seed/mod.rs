//! The invented programme of the demo, made from a seed number.
