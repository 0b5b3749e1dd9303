//! `landfall verify`.

use anyhow::{anyhow, bail};
use landfall_tables::{Kind, chain};

use super::args_box::Verify;
use super::{End, complain, input, output};

pub(crate) fn run(args: &Verify) -> anyhow::Result<End> {
    let (bytes, name) = input::bytes(&args.file)?;
    // A file that begins otherwise may be one whose first line was changed; what is clearly another is told.
    if let Some(kind) = Kind::of(&bytes).filter(|kind| !matches!(kind, Kind::Session | Kind::Json)) {
        bail!("{name} is {}, no record of a session", kind.words());
    }
    let whole = match chain::verify(&bytes) {
        Ok(whole) => whole,
        Err(broken) => {
            complain(&format!(
                "{name}: {broken}. This file is not as it was written; of what stands in it from there on nothing is proven. \
                 Look for another copy of it"
            ));
            return Ok(End::Outside);
        }
    };
    let short = chain::short(&whole.last);
    let told = format!("{name}: {} lines hold together. Last hash: {short}\n", whole.said.len());
    match &args.hash {
        None => {
            output::stdout(&format!(
                "{told}Compare it with the one on the session's paper sheet, or give that with --hash: only then is it known that\n\
                 this is the same file. Without it somebody may have written the whole file anew.\n"
            ))?;
            Ok(End::Inside)
        }
        Some(noted) if chain::agrees(&whole.last, noted).map_err(|words| anyhow!("--hash: {words}"))? => {
            output::stdout(&format!(
                "{told}It is the hash that was noted: no line was changed, taken out or added since. That what was stated is true,\n\
                 that the box measured right and that the laptop's clock was right is not proven by it.\n"
            ))?;
            Ok(End::Inside)
        }
        Some(noted) => {
            output::stdout(&told)?;
            complain(&format!(
                "{name}: the hash that was noted is {noted}, and this file's is {short}: it is another file than the one that was \
                 written then, though its lines hold together. Look for the right one"
            ));
            Ok(End::Outside)
        }
    }
}
