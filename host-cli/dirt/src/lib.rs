//! From the bag to dirt.
