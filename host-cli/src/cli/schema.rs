//! `landfall schema`.

use landfall_plan::plan::results::Results;
use landfall_plan::site::site_schema;

use super::args_about::{Schema, SchemaOf};
use super::{End, output};

pub(crate) fn run(args: &Schema) -> anyhow::Result<End> {
    let text = match args.of {
        SchemaOf::Site => output::json(&site_schema())?,
        SchemaOf::Results => output::json(&schemars::schema_for!(Results))?,
    };
    output::stdout(&text)?;
    Ok(End::Inside)
}
