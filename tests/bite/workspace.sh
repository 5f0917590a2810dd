#!/bin/sh
# The core with the tests that need nothing but the core, as a workspace of its own: a changed line of the core is then tested in
# seconds, as no desktop is built for it. What it is for stands in tests/BITE.md.
#
#   tests/bite/workspace.sh FOLDER        makes FOLDER anew
set -eu

if [ $# -ne 1 ]; then
    echo "usage: tests/bite/workspace.sh FOLDER (it is made anew)" >&2
    exit 2
fi
root=$(cd "$(dirname "$0")/../.." && pwd)
if [ -e "$1" ] && [ ! -e "$1/bite" ]; then
    echo "workspace.sh: $1 is there and was not made by this program; give another folder" >&2
    exit 2
fi
rm -rf "$1/core" "$1/bite" "$1/more"
cp_tests() { # PACKAGE TEST...
    package=$1
    shift
    mkdir -p "$folder/$package/tests"
    : >"$folder/$package/lib.rs"
    cp -r "$root/tests/scripts" "$root/tests/data" "$folder/$package/"
    for name in "$@"; do
        cp -r "$root/tests/tests/$name" "$folder/$package/tests/"
    done
    cat >"$folder/$package/Cargo.toml" <<END
[package]
name = "$package"
version.workspace = true
edition.workspace = true

[lib]
path = "lib.rs"

[dev-dependencies]
evendraw-core = { workspace = true, features = ["put-right"] }
crc = { workspace = true }
postcard = { workspace = true, features = ["use-std"] }
proptest = { workspace = true }
END
}
mkdir -p "$1"
folder=$(cd "$1" && pwd)
cp -r "$root/core" "$folder/core"
cp "$root/Cargo.lock" "$root/rust-toolchain.toml" "$folder/"
# The quickest that decides most, and the others.
cp_tests bite scripts
cp_tests more laws judging journal.rs link revise.rs
# The members are fewer; all else is the project's.
sed -e 's|^members = .*|members = ["core", "bite", "more"]|' -e '/^exclude = /d' -e '/^default-members = /d' \
    -e '/^evendraw = /d' -e '/^evendraw-firmware = /d' -e '/^\[profile.dev.package/,$d' "$root/Cargo.toml" >"$folder/Cargo.toml"
