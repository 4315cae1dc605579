#!/usr/bin/env bash
# Install Shaftbook and run its proofs in any CI: a runner with bash, a C compiler for
# linking, git and Rust (by rustup) is enough. No container is needed.
#
# Copy this file into your project. What you set, in the environment:
#
#   SHAFTBOOK_SOURCE      a clone or unpacked copy of Shaftbook that is there already; or
#   SHAFTBOOK_REPOSITORY  where to clone it from (anything `git clone` takes)
#   SHAFTBOOK_VERSION     tag, branch or commit to clone [main]
#   SHAFTBOOK_SEED        seed of the search [1]
#   SHAFTBOOK_SEARCH      quick or full [quick]
#   SHAFTBOOK_ROOT        where it is installed [$PWD/shaftbook-installed]
#   SHAFTBOOK_JUNIT       where the results are written [$PWD/shaftbook.xml]
#
# Exit code: 0 every proof held; 1 one failed (the results are written all the same);
# 2 wrong input; 3 it could not be installed.
set -euo pipefail

wrong() {
    echo "shaftbook recipe: $1" >&2
    exit 2
}

root=${SHAFTBOOK_ROOT:-$PWD/shaftbook-installed}
junit=${SHAFTBOOK_JUNIT:-$PWD/shaftbook.xml}
clone=${SHAFTBOOK_SOURCE:-}
arguments=(--seed "${SHAFTBOOK_SEED:-1}" --junit "$junit")
case ${SHAFTBOOK_SEARCH:-quick} in
quick) ;;
full) arguments+=(--full) ;;
*) wrong "SHAFTBOOK_SEARCH is quick or full" ;;
esac
[ -n "$clone${SHAFTBOOK_REPOSITORY:-}" ] ||
    wrong "set SHAFTBOOK_REPOSITORY to where Shaftbook is cloned from"

trap 'echo "shaftbook recipe: could not be installed" >&2; exit 3' ERR

# 1. Rust: the recipe does not choose how you install it.
if ! command -v cargo >/dev/null; then
    echo "shaftbook recipe: cargo is missing: install Rust by rustup first" >&2
    exit 3
fi

# 2. The source, if it is not there.
if [ -z "$clone" ]; then
    clone=$PWD/shaftbook-source
    rm -rf "$clone"
    git clone --quiet "$SHAFTBOOK_REPOSITORY" "$clone"
    git -C "$clone" checkout --quiet --detach "origin/${SHAFTBOOK_VERSION:-main}" 2>/dev/null ||
        git -C "$clone" checkout --quiet --detach "${SHAFTBOOK_VERSION:-main}"
fi

# 3. The program, with exactly the dependencies that were tested.
cargo install --quiet --locked --path "$clone/host-sim" --root "$root"
PATH=$root/bin:$PATH
shaftbook --version

trap - ERR

# 4. The proofs.
exec shaftbook prove "${arguments[@]}"
