//! The workspace's dependency graph and the rules on it.
//!
//! The rule of direction, where an arrow points to what is needed: core ← care ← readout ←
//! panel; core ← drivers; all of them ← mainloop; boards and the host may use them all; world ←
//! tools ← evidence; all three ← host-sim, the command line; never the other way.
//! Everything under `firmware/` stays `no_std`: no feature of a dependency may bring `std` or
//! `alloc` in.
//!
//! The rules work on a plain [`Graph`], so that a test can hand them a broken one.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use cargo_metadata::{DependencyKind, MetadataCommand};

/// What one package of the workspace asks for in normal and build dependencies.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Package {
    /// Folder of the package, relative to the root, `/` between parts.
    pub folder: String,
    /// Names of the packages that it depends on, and the features asked of each.
    pub needs: BTreeMap<String, BTreeSet<String>>,
    /// Those of them that stand somewhere on the same disk, in no registry: ours, whether a
    /// workspace lists them or not.
    pub by_path: BTreeSet<String>,
}

/// The packages of the workspace by name.
pub type Graph = BTreeMap<String, Package>;

/// A layer of the firmware: its name, the layers below it, the outside crates it may use.
pub type Layer = (&'static str, &'static [&'static str], &'static [&'static str]);

/// The layers that every board shares.
pub const LAYERS: [Layer; 6] = [
    ("shaftbook-core", &[], &["crc", "defmt", "heapless", "hmac", "sha2"]),
    ("shaftbook-care", &["shaftbook-core"], &["defmt", "heapless", "libm"]),
    ("shaftbook-readout", &["shaftbook-core", "shaftbook-care"], &["defmt", "heapless", "sha2"]),
    (
        "shaftbook-panel",
        &["shaftbook-core", "shaftbook-care", "shaftbook-readout"],
        &["chrono", "defmt", "embedded-graphics", "heapless", "qrcodegen-no-heap"],
    ),
    (
        "shaftbook-drivers",
        &["shaftbook-core"],
        &["critical-section", "defmt", "ds323x", "embedded-hal", "heapless", "ssd1306"],
    ),
    (
        "shaftbook-mainloop",
        &[
            "shaftbook-core",
            "shaftbook-care",
            "shaftbook-readout",
            "shaftbook-panel",
            "shaftbook-drivers",
        ],
        &["defmt", "embedded-hal", "heapless", "sha2"],
    ),
];
/// The crates of the host, and those of the host below each.
pub const HOST: [(&str, &[&str]); 4] = [
    ("shaftbook-world", &[]),
    ("shaftbook-tools", &["shaftbook-world"]),
    ("shaftbook-evidence", &["shaftbook-world", "shaftbook-tools"]),
    ("host-sim", &["shaftbook-world", "shaftbook-evidence", "shaftbook-tools"]),
];
/// Features that end `no_std`, whatever crate has them.
const HOSTED_FEATURES: [&str; 2] = ["std", "alloc"];

/// Manifests of the repository's workspaces: the main one, that of the board images, and the
/// programs that are weighed.
const MANIFESTS: [&str; 3] = [
    concat!(env!("CARGO_MANIFEST_DIR"), "/Cargo.toml"),
    concat!(env!("CARGO_MANIFEST_DIR"), "/../firmware/boards/Cargo.toml"),
    concat!(env!("CARGO_MANIFEST_DIR"), "/../firmware/size-probe/Cargo.toml"),
];

/// The graph of this repository, board images included, as cargo gives it.
///
/// # Panics
/// When `cargo metadata` cannot be run.
#[must_use]
pub fn workspace() -> Graph {
    let mut graph = Graph::new();
    for manifest in MANIFESTS {
        let metadata = MetadataCommand::new()
            .manifest_path(manifest)
            .no_deps()
            .exec()
            .expect("cargo metadata runs in the repository");
        graph.extend(metadata.workspace_packages().into_iter().map(package));
    }
    graph
}

fn package(package: &cargo_metadata::Package) -> (String, Package) {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).parent();
    let folder = package.manifest_path.parent().unwrap_or(&package.manifest_path);
    let folder = root.and_then(|root| folder.strip_prefix(root).ok()).unwrap_or(folder);
    let mut needs: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    let mut by_path = BTreeSet::new();
    for dependency in &package.dependencies {
        if dependency.kind == DependencyKind::Development {
            continue;
        }
        let features = needs.entry(dependency.name.clone()).or_default();
        features.extend(dependency.features.iter().cloned());
        if dependency.uses_default_features {
            features.insert("default".into());
        }
        if dependency.path.is_some() {
            by_path.insert(dependency.name.clone());
        }
    }
    let folder = folder.as_str().replace('\\', "/");
    (package.name.to_string(), Package { folder, needs, by_path })
}

/// Every breach of the rules, one sentence each; empty when there is none.
#[must_use]
pub fn breaches(graph: &Graph) -> Vec<String> {
    let mut found = Vec::new();
    for (name, ..) in LAYERS {
        if !graph.contains_key(name) {
            found.push(format!("{name} is not in the workspace"));
        }
    }
    for (name, package) in graph {
        for (needed, features) in &package.needs {
            if !may_need(graph, name, needed) {
                found.push(format!("{name} must not depend on {needed}"));
            }
            for feature in HOSTED_FEATURES {
                if is_bare(package) && features.contains(feature) {
                    found.push(format!("{name} asks {needed} for `{feature}`"));
                }
            }
        }
    }
    found
}

/// Runs on a chip: everything under `firmware/`.
fn is_bare(package: &Package) -> bool {
    package.folder.starts_with("firmware/")
}

fn may_need(graph: &Graph, name: &str, needed: &str) -> bool {
    let by_path = graph.get(name).is_some_and(|package| package.by_path.contains(needed));
    let is_ours = by_path || graph.contains_key(needed);
    if let Some((_, below, outside)) = LAYERS.iter().find(|(layer, ..)| *layer == name) {
        return below.contains(&needed) || (!is_ours && outside.contains(&needed));
    }
    if !is_ours || LAYERS.iter().any(|(layer, ..)| *layer == needed) {
        return true;
    }
    if let Some((_, below)) = HOST.iter().find(|(host, _)| *host == name) {
        return below.contains(&needed);
    }
    // A board may need whatever its chip does, but of ours only the layers.
    !graph.get(name).is_some_and(is_bare)
}
