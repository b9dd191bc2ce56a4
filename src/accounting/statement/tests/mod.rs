//! The statement against figures worked by hand, published examples and its own laws.

mod by_hand;
mod comparing;
mod example;
mod missing;
mod properties;
mod published;
mod replay;
mod simulated;
