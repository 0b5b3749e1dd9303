//! `landfall check`.

use landfall_plan::checked::check_text;

use super::args_plan::Check;
use super::args_shared::TextOrJson;
use super::{End, input, output, say_faults};

pub(crate) fn run(args: &Check) -> anyhow::Result<End> {
    let (text, name) = input::text(&args.site)?;
    let checked = check_text(&text, &name);
    match (args.format, &checked.outcome) {
        (TextOrJson::Json, _) => output::stdout(&output::json(&checked.json())?)?,
        (TextOrJson::Text, Ok(_)) => output::stdout(&checked.text(args.all))?,
        (TextOrJson::Text, Err(faults)) => say_faults(faults),
    }
    Ok(if checked.is_usable() { End::Inside } else { End::Failed })
}
