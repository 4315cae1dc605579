//! Finds circles of modules: modules side by side in one folder of a crate, each taken with all
//! below it, that need each other, directly or through others.
//!
//! What is read are the paths in shipped code (`crate::…`, `super::…`, `self::…`), not what
//! they name. A module that takes a word of its parent is no circle, because the parent is the
//! folder that holds both.

use std::collections::{BTreeMap, BTreeSet};

use crate::sources::{Source, code_lines};

/// Which module needs which, side by side in one folder: by folder, then by module.
type Needs = BTreeMap<Vec<String>, BTreeMap<String, BTreeSet<String>>>;

/// The modules of a file below a crate's `src/`: `a/b.rs` and `a/b/mod.rs` are `a::b`.
fn module_of(path: &str) -> Vec<String> {
    let path = path.strip_suffix(".rs").unwrap_or(path);
    let mut parts: Vec<String> = path.split('/').map(String::from).collect();
    if parts.last().is_some_and(|last| ["mod", "lib", "main"].contains(&last.as_str())) {
        parts.pop();
    }
    parts
}

/// The paths that begin at `from` in `text`: those of a group `{a, b::c}` each.
fn paths(text: &str) -> Vec<Vec<String>> {
    let word = |text: &str| -> String {
        text.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect()
    };
    if let Some(group) = text.strip_prefix('{') {
        let (mut depth, mut begin, mut found) = (0_u32, 0, Vec::new());
        for (at, c) in group.char_indices() {
            match c {
                '{' => depth += 1,
                '}' if depth == 0 => {
                    found.extend(paths(group[begin..at].trim()));
                    break;
                }
                '}' => depth -= 1,
                ',' if depth == 0 => {
                    found.extend(paths(group[begin..at].trim()));
                    begin = at + 1;
                }
                _ => {}
            }
        }
        return found;
    }
    let first = word(text);
    if first.is_empty() {
        return vec![Vec::new()];
    }
    match text[first.len()..].strip_prefix("::") {
        Some(rest) => paths(rest)
            .into_iter()
            .map(|path| std::iter::once(first.clone()).chain(path).collect())
            .collect(),
        None => vec![vec![first]],
    }
}

/// What one file of module `me` names, as modules from the crate's root; as long as they go.
fn named(source: &Source, me: &[String]) -> Vec<Vec<String>> {
    let code: Vec<&str> = code_lines(&source.text).map(|(_, line)| line).collect();
    let code = code.join("\n");
    let mut found = Vec::new();
    for (at, _) in code.match_indices("::") {
        let before = &code[..at];
        let begin = before.rfind(|c: char| !(c.is_alphanumeric() || c == '_')).map_or(0, |b| b + 1);
        let first = &before[begin..];
        // In the middle of a path it has been taken from its beginning.
        let root = match first {
            _ if before[..begin].ends_with("::") => continue,
            "crate" => Vec::new(),
            "self" => me.to_vec(),
            "super" => me[..me.len().saturating_sub(1)].to_vec(),
            _ => continue,
        };
        for path in paths(&code[at + 2..]) {
            let mut from = root.clone();
            let mut path = path.as_slice();
            while let Some((first, rest)) =
                path.split_first().filter(|(first, _)| *first == "super")
            {
                let _ = first;
                from.pop();
                path = rest;
            }
            from.extend(path.iter().cloned());
            found.push(from);
        }
    }
    found
}

/// The circles of a crate, each as `folder: a → b → a`. `folder` is its `src/`, with a slash.
#[must_use]
pub fn circles(sources: &[Source], folder: &str) -> Vec<String> {
    let files: Vec<(Vec<String>, &Source)> = sources
        .iter()
        // Of tests alone.
        .filter(|source| !source.path.ends_with("/tests.rs"))
        .filter_map(|source| Some((module_of(source.path.strip_prefix(folder)?), source)))
        .collect();
    let modules: BTreeSet<&[String]> = files.iter().map(|(module, _)| module.as_slice()).collect();
    let mut needs: Needs = BTreeMap::new();
    for (me, source) in &files {
        for name in named(source, me) {
            // The longest beginning of it that is a module; the rest is what it holds.
            let longest = (0..=name.len()).rev().find(|n| modules.contains(&name[..*n]));
            let target = &name[..longest.unwrap_or(0)];
            let shared = me.iter().zip(target).take_while(|(a, b)| a == b).count();
            if let (Some(mine), Some(other)) = (me.get(shared), target.get(shared)) {
                let folder = needs.entry(me[..shared].to_vec()).or_default();
                folder.entry(mine.clone()).or_default().insert(other.clone());
            }
        }
    }
    let mut found = Vec::new();
    for (at, graph) in &needs {
        for module in graph.keys() {
            if let Some(way) = way_back(graph, module) {
                // Told once, from its first module.
                if way.iter().all(|other| other >= module) {
                    found.push(format!("{folder}{}: {}", at.join("/"), way.join(" → ")));
                }
            }
        }
    }
    found
}

/// The shortest way from `module` over its needs back to it.
fn way_back(graph: &BTreeMap<String, BTreeSet<String>>, module: &str) -> Option<Vec<String>> {
    let mut ways = vec![vec![module.to_owned()]];
    let mut seen = BTreeSet::new();
    while !ways.is_empty() {
        let mut next = Vec::new();
        for way in ways {
            for need in way.last().and_then(|last| graph.get(last)).into_iter().flatten() {
                let longer: Vec<String> = way.iter().cloned().chain([need.clone()]).collect();
                if need == module {
                    return Some(longer);
                }
                if seen.insert(need.clone()) {
                    next.push(longer);
                }
            }
        }
        ways = next;
    }
    None
}
