#!/bin/sh
# Installs receiver_sim in this folder and runs it. POSIX sh; run './setup.sh help' for the commands.
#
# Everything Python goes into .venv beside this script. The only things put on the system are the packages that
# 'need_packages' below names, and only when they are missing. pip's and apt's own configuration is left alone.
set -eu

here=$(CDPATH='' cd -- "$(dirname -- "$0")" && pwd -P)
venv="$here/.venv"
demo_build=receiver_sim/schema/builds/demo.yaml
demo_output=demo-results

usage() {
    cat <<'END'
usage: ./setup.sh COMMAND [ARGUMENT...]

  demo     install, then run the main job on the demo build (results in demo-results/)
  test     install with what the tests need, then run the tests on all cores; arguments go to pytest
  lint     install with what the tests need, then run ruff, mypy and the import contract
  install  install only; afterwards .venv/bin/receiver-sim is the program
  help     print this

Set PYTHON to use another interpreter than python3 (3.10 or newer), as in: PYTHON=python3.12 ./setup.sh demo
END
}

say() { printf 'setup: %s\n' "$*"; }

# Prints the fault, then one line of cure for each further argument, and stops.
die() {
    printf 'setup: %s\n' "$1" >&2
    shift
    for line in "$@"; do printf '       %s\n' "$line" >&2; done
    exit 1
}

# Succeeds if the loader, or a usual package place, has ngspice's shared library. (The program's own search, in
# receiver_sim/engine/library.py, needs the installed package; this runs before there is one.)
has_library() {
    "$python" - <<'END'
import ctypes, ctypes.util, os, sys
names = [os.environ.get("NGSPICE_LIBRARY_PATH"), ctypes.util.find_library("ngspice"), "libngspice.so.0"]
prefixes = ["/opt/homebrew", "/opt/homebrew/opt/libngspice", "/usr/local", "/usr/local/opt/libngspice", "/opt/local"]
for prefix in [os.environ.get("CONDA_PREFIX"), *prefixes, "/home/linuxbrew/.linuxbrew"]:
    if prefix:
        names += [f"{prefix}/lib/{name}" for name in ("libngspice.0.dylib", "libngspice.dylib", "libngspice.so.0")]
for name in filter(None, names):
    try:
        ctypes.CDLL(name)
    except OSError:
        continue
    sys.exit(0)
sys.exit(1)
END
}

has_venv() { "$python" -c 'import ensurepip, venv' 2>/dev/null; }

has_python() { command -v "$python" >/dev/null 2>&1; }

has_apt() { [ "$(uname -s)" = Linux ] && command -v apt-get >/dev/null 2>&1; }

# Without any Python, apt-get brings it with the other packages; one asked for by its name has to be there.
find_python() {
    python=${PYTHON:-python3}
    if ! has_python; then
        if [ -z "${PYTHON:-}" ] && has_apt; then return 0; fi
        die "no '$python' on this system." \
            "Debian or Ubuntu: apt-get install python3      macOS: brew install python" \
            "If it has another name, name it: PYTHON=/path/to/python3 ./setup.sh $command"
    fi
    if ! "$python" -c 'import sys; sys.exit(sys.version_info < (3, 10))'; then
        die "$("$python" --version 2>&1) is too old; receiver_sim needs Python 3.10 or newer." \
            "If a newer one is installed, name it: PYTHON=python3.12 ./setup.sh $command" \
            "Debian 12, Ubuntu 22.04 and later releases have it as python3."
    fi
}

# Lists the system packages that are missing (Debian's names) for this command in $missing.
need_packages() {
    missing=
    has_python || missing="$missing python3"
    { has_python && has_library; } || missing="$missing libngspice0"
    { has_python && has_venv; } || missing="$missing python3-venv"
    # The tests also compare with stock ngspice in batch mode.
    if [ "$extras" = test ]; then
        command -v ngspice >/dev/null 2>&1 || missing="$missing ngspice"
    fi
    missing=${missing# }
}

install_with_apt() {
    root=
    if [ "$(id -u)" -ne 0 ]; then
        command -v sudo >/dev/null 2>&1 || die "missing: $missing; installing needs root, and there is no sudo." \
            "Let an administrator run: apt-get update && apt-get install -y $missing" \
            "then run ./setup.sh $command again."
        root=sudo
    fi
    say "installing $missing with apt-get${root:+ (sudo may ask for your password)}"
    # A broken third-party list must not stop us if Debian's own lists are good: the install below decides.
    $root env DEBIAN_FRONTEND=noninteractive apt-get update -q ||
        say "apt-get update reported faults; trying to install all the same"
    # shellcheck disable=SC2086 # one word for each package
    $root env DEBIAN_FRONTEND=noninteractive \
        apt-get install -y -q --no-install-recommends -o DPkg::Lock::Timeout=120 $missing ||
        die "apt-get could not install: $missing" \
            "Read its message above. On Ubuntu ngspice is in 'universe': add-apt-repository universe" \
            "When they are installed by other means, run ./setup.sh $command again."
}

# Homebrew's python brings venv with it; its 'ngspice' is the batch program, 'libngspice' the library.
install_with_brew() {
    formulas=
    for package in $missing; do
        case $package in
            libngspice0) formulas="$formulas libngspice" ;;
            python3-venv) formulas="$formulas python" ;;
            *) formulas="$formulas $package" ;;
        esac
    done
    say "installing$formulas with brew"
    # shellcheck disable=SC2086
    brew install $formulas || die "brew could not install:$formulas; read its message above."
}

install_packages() {
    need_packages
    [ -n "$missing" ] || return 0
    system=$(uname -s)
    if [ "$system" = Darwin ] && command -v brew >/dev/null 2>&1; then
        install_with_brew
    elif [ "$system" = Darwin ]; then
        die "missing: $missing (Debian's names), and there is no Homebrew to install them with." \
            "Install Homebrew, then: brew install libngspice ngspice python" \
            "With MacPorts or your own build: NGSPICE_LIBRARY_PATH=/path/to/libngspice.dylib ./setup.sh $command"
    elif has_apt; then
        install_with_apt
    elif [ "$system" = Linux ]; then
        die "missing: $missing (Debian's names), and there is no apt-get to install them with." \
            "Install ngspice's shared library, the ngspice program and Python's venv from your distribution" \
            "(Fedora: libngspice, ngspice; Arch: ngspice), then run ./setup.sh $command again." \
            "A library in an unusual place: NGSPICE_LIBRARY_PATH=/path/to/libngspice.so ./setup.sh $command"
    else
        die "missing: $missing (Debian's names); this script cannot install them on $system." \
            "On Windows run it inside WSL, or see 'Install' in README.md for the way with ngspice.dll."
    fi
    need_packages
    [ -z "$missing" ] || die "installed, but '$python' still misses: $missing" \
        "Is '$(command -v "$python")' the system's own Python? If not, try: PYTHON=/usr/bin/python3 ./setup.sh $command" \
        "A library in an unusual place: NGSPICE_LIBRARY_PATH=/path/to/it ./setup.sh $command"
}

# The tests of the page are run in a browser. Without one they are skipped, so a failure here is no fault.
browser_for_tests() {
    command -v chromium >/dev/null 2>&1 && command -v chromedriver >/dev/null 2>&1 && return 0
    root=
    if [ "$(id -u)" -ne 0 ]; then root=$(command -v sudo) || root=none; fi
    if [ "$root" != none ] && command -v apt-get >/dev/null 2>&1; then
        say "installing chromium and chromium-driver with apt-get, for the tests of the page"
        $root env DEBIAN_FRONTEND=noninteractive apt-get update -q || true
        $root env DEBIAN_FRONTEND=noninteractive apt-get install -y -q --no-install-recommends \
            -o DPkg::Lock::Timeout=120 chromium chromium-driver && return 0
    fi
    say "no chromium: the tests of the page in a browser will be skipped"
}

# What an installation with the extras $1 is made from: when that has not changed, there is nothing to install.
stamp() {
    printf '%s\n' "$here" "$1"
    "$venv/bin/python" --version 2>&1
    cksum <"$here/pyproject.toml"
}

has_stamp() { [ "$(stamp "$1")" = "$(cat "$venv/.receiver-sim-$1" 2>/dev/null)" ]; }

# An installation with the test extras serves the other commands too.
is_installed() {
    "$venv/bin/python" -c 'import receiver_sim' 2>/dev/null && { has_stamp test || has_stamp "$extras"; }
}

# One that an older Python left, that came from another folder, or of another version than PYTHON asks for, is not.
venv_is_usable() {
    "$venv/bin/python" -m pip --version >/dev/null 2>&1 || return 1
    grep -qF "$venv/bin/python" "$venv/bin/pip" || return 1
    [ -z "${PYTHON:-}" ] || [ "$("$venv/bin/python" --version 2>&1)" = "$("$python" --version 2>&1)" ]
}

install_python() {
    if ! venv_is_usable; then
        say "making the virtual environment .venv with $("$python" --version 2>&1)"
        "$python" -m venv --clear "$venv" || die "could not make .venv; read Python's message above."
    elif is_installed; then
        return 0
    fi
    if [ "$extras" = test ]; then
        say "installing receiver_sim and what its tests need into .venv (a minute or two)"
        set -- "${here}[test]"
    else
        say "installing receiver_sim into .venv (a minute or two)"
        set -- "$here"
    fi
    "$venv/bin/python" -m pip install --quiet --editable "$1" ||
        die "pip could not install receiver_sim; read its message above." \
            "Behind a proxy or a mirror, set up pip's own configuration, then run ./setup.sh $command again."
    stamp "$extras" >"$venv/.receiver-sim-$extras"
}

install() {
    find_python
    install_packages
    find_python # the one that has just come may be too old
    install_python
}

lint() {
    # Each runs whatever the one before it found, so that one run shows every fault.
    status=0
    for check in "ruff check ." "ruff format --check ." "mypy receiver_sim" lint-imports; do
        say "$check"
        # shellcheck disable=SC2086 # a command and its arguments
        "$venv/bin/"$check || status=1
    done
    return $status
}

command=${1:-}
[ $# -eq 0 ] || shift
extras=none
case $command in
    test | lint) extras="test" ;;
    demo | install) ;;
    help | -h | --help) usage; exit 0 ;;
    '') usage >&2; exit 2 ;;
    *) printf "setup: there is no command '%s'.\n" "$command" >&2; usage >&2; exit 2 ;;
esac
if [ "$command" != test ] && [ $# -gt 0 ]; then
    printf "setup: '%s' takes no arguments, got '%s'.\n" "$command" "$*" >&2
    exit 2
fi

cd "$here"
install
case $command in
    install) say "done; the program is .venv/bin/receiver-sim" ;;
    demo) exec "$venv/bin/receiver-sim" check "$demo_build" --out "$demo_output" ;;
    # A file stays on one process: what its tests share is computed once. More processes than four only wait for memory.
    test)
        browser_for_tests
        exec "$venv/bin/python" -m pytest -n auto --maxprocesses 4 --dist loadfile "$@"
        ;;
    lint) lint ;;
esac
