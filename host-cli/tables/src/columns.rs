//! The columns of the tables that people fill in: measured runs, and drops on a bag.

use crate::{Column, Holds};
use landfall_plan::site::Dimension;

const LENGTH: Holds = Holds::Quantity(Dimension::Length);
const SPEED: Holds = Holds::Quantity(Dimension::Speed);
const TIME: Holds = Holds::Quantity(Dimension::Time);
const MASS: Holds = Holds::Quantity(Dimension::Mass);
const PRESSURE: Holds = Holds::Quantity(Dimension::Pressure);

/// The columns that a table of runs may have.
pub const RUNS: &[Column] = &[
    Column::word("run", Holds::Text),
    Column::word("date", Holds::Text),
    Column::word("note", Holds::Text),
    Column::word("rider", Holds::Text),
    Column::word("trick", Holds::Text),
    Column::word("ending", Holds::Text),
    Column::value("rider_mass", MASS, 15.0, 250.0),
    Column::value("start_height", LENGTH, 0.1, 60.0),
    Column::value("start_before_foot", LENGTH, 0.1, 500.0),
    Column::value("push_off", SPEED, 0.0, 15.0),
    Column::value("push_off_sd", SPEED, 0.001, 5.0),
    Column::value("mark_1_before_foot", LENGTH, -30.0, 500.0),
    Column::value("mark_2_before_foot", LENGTH, -30.0, 500.0),
    Column::value("split_time", TIME, 0.02, 120.0),
    Column::value("split_frames", Holds::Number, 1.0, 1e6),
    Column::value("split_time_sd", TIME, 0.0001, 5.0),
    Column::value("lip_speed", SPEED, 0.5, 40.0),
    Column::word("lip_speed_method", Holds::Text),
    Column::value("lip_speed_sd", SPEED, 0.001, 5.0),
    Column::value("air_time", TIME, 0.05, 10.0),
    Column::value("air_frames", Holds::Number, 1.0, 1e5),
    Column::value("air_time_sd", TIME, 0.0001, 5.0),
    Column::value("frame_rate", Holds::Number, 5.0, 20e3),
    Column::value("landing_along", LENGTH, -20.0, 100.0),
    Column::value("landing_along_sd", LENGTH, 0.001, 5.0),
    Column::value("landing_across", LENGTH, -40.0, 40.0),
    Column::value("landing_across_sd", LENGTH, 0.001, 5.0),
    Column::value("wind_along", SPEED, -30.0, 30.0),
    Column::value("wind_across", SPEED, -30.0, 30.0),
    Column::word("excluded", Holds::Flag),
    Column::word("reason", Holds::Text),
];

/// The columns that a table of drops may have.
pub const DROPS: &[Column] = &[
    Column::word("drop", Holds::Text),
    Column::word("date", Holds::Text),
    Column::word("note", Holds::Text),
    Column::value("drop_mass", Holds::Quantity(Dimension::Mass), 1.0, 300.0),
    Column::value("drop_height", LENGTH, 0.05, 15.0),
    Column::value("start_pressure", PRESSURE, 1.0, 20e3),
    Column::word("blower", Holds::Flag),
    Column::value("depth", LENGTH, 0.01, 10.0),
    Column::value("depth_sd", LENGTH, 0.0005, 1.0),
    Column::value("peak_pressure", PRESSURE, 5.0, 50e3),
    Column::value("peak_pressure_sd", PRESSURE, 0.1, 5e3),
    Column::value("landing_along", LENGTH, 0.0, 100.0),
    Column::value("log_time", TIME, 0.0, 1e8),
    Column::word("excluded", Holds::Flag),
    Column::word("reason", Holds::Text),
];
