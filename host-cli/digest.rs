// A digest of the sources that the page's answers are computed by. The module carries it; the command's build script
// compares it with its own, and a test with the list of files that the compiler says it has read.

/// FNV-1a over names and contents, in the order of the names; line ends of either kind count alike.
fn digest_of_sources(host_cli: &std::path::Path) -> u64 {
    let mut digest = 0xcbf2_9ce4_8422_2325_u64;
    for (name, path) in sources(host_cli) {
        let text = std::fs::read(path).unwrap_or_default();
        for byte in name.bytes().chain(text.into_iter().filter(|byte| *byte != b'\r')) {
            digest = (digest ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3);
        }
    }
    digest
}

/// What the module is compiled from: core, the sampling, the planner, the ground and the boundary. The build scripts watch
/// just these.
const PARTS: [&str; 6] =
    ["../core/src", "ground/src", "page-wasm/Cargo.toml", "page-wasm/src", "plan/src", "sampling/src"];

/// Each file with its name from the package's folder on, without what is compiled for tests alone.
fn sources(host_cli: &std::path::Path) -> Vec<(String, std::path::PathBuf)> {
    let mut files = Vec::new();
    for part in PARTS {
        let path = host_cli.join(part);
        if path.is_dir() {
            collect(&path, part, &mut files);
        } else {
            files.push((part.to_owned(), path));
        }
    }
    files.sort();
    files
}

fn collect(folder: &std::path::Path, name: &str, out: &mut Vec<(String, std::path::PathBuf)>) {
    let Ok(entries) = std::fs::read_dir(folder) else { return };
    for entry in entries.flatten() {
        let path = entry.path();
        let file = entry.file_name().to_string_lossy().into_owned();
        let name = format!("{name}/{file}");
        if path.is_dir() {
            collect(&path, &name, out);
            continue;
        }
        let of_tests = file == "tests.rs" || file.ends_with("_tests.rs") || file.starts_with("test_");
        let taken = [".rs", ".toml"].iter().any(|end| file.ends_with(end));
        if taken && !of_tests {
            out.push((name, path));
        }
    }
}
