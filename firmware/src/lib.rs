//! The pressure-watching box, generic over embedded-hal 1.0.
#![cfg_attr(not(test), no_std)]
#![forbid(unsafe_code)]
