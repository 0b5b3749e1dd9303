//! Every example runs: each asserts by itself what it shows.
#![allow(clippy::unwrap_used)]
#![allow(clippy::duplicate_mod)] // one example builds on another

#[path = "../examples/one_run.rs"]
mod one_run;
#[path = "../examples/spread.rs"]
mod spread;
#[path = "../examples/touch_down.rs"]
mod touch_down;
#[path = "../examples/watch_on_board.rs"]
mod watch_on_board;
#[path = "../examples/watch_on_host.rs"]
mod watch_on_host;

#[test]
fn one_run_comes_down_on_the_bag() {
    one_run::main().unwrap();
}

#[test]
fn the_shares_of_a_spread_make_up_the_whole() {
    spread::main().unwrap();
}

#[test]
fn a_touch_down_is_followed_at_three_pressures() {
    touch_down::main().unwrap();
}

#[test]
fn the_siren_comes_before_the_stop_pressure() {
    watch_on_host::main().unwrap();
}

#[test]
fn a_board_gets_the_permit_once_the_bag_is_filled() {
    watch_on_board::main().unwrap();
}
