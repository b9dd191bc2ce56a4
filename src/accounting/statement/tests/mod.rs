//! The statement against figures worked by hand, published examples and its own laws.

mod by_hand;
mod char;
mod comparing;
mod emissions;
mod example;
mod fuel;
mod missing;
mod properties;
mod provenance;
mod published;
mod replay;
mod restated;
mod simulated;
mod species;
