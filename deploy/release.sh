#!/bin/sh
# Makes what is released of one version: for each kind of machine the binary and a
# Debian package, the list of what they are made of (CycloneDX), and the sums of
# all of them.
#
#   deploy/release.sh VERSION FOLDER
#
# VERSION is like 1.2.3. FOLDER is made; what lies in it already is written over.
# ARCHES ("amd64 arm64") says for which machines. Made again from the same tree by
# the same Go, in whatever folder, everything comes out the same to the byte:
# SOURCE_DATE_EPOCH is the time that the package carries, that of the newest commit
# unless it is set.
#
# It needs Go, and git or SOURCE_DATE_EPOCH. nfpm and cyclonedx-gomod are taken from
# the PATH, else fetched by Go in the versions below. No part of them goes into what
# is made.
set -eu
umask 022
nfpm=github.com/goreleaser/nfpm/v2/cmd/nfpm@v2.45.2
cyclonedx=github.com/CycloneDX/cyclonedx-gomod/cmd/cyclonedx-gomod@v1.10.0

die() {
	echo "release: $1" >&2
	exit 1
}

[ $# -eq 2 ] || die "say which version and where to: release.sh VERSION FOLDER"
version=${1#v}
case $version in
[0-9]*.[0-9]*.[0-9]*) ;;
*) die "\"$1\" is no version: it must be like 1.2.3" ;;
esac
case $version in
*[!0-9A-Za-z.~+-]*) die "\"$1\" is no version: it must be like 1.2.3" ;;
esac
mkdir -p "$2"
folder=$(cd "$2" && pwd)
cd "$(dirname "$0")/.."

if [ -z "${SOURCE_DATE_EPOCH:-}" ]; then
	SOURCE_DATE_EPOCH=$(git log -1 --format=%ct) || die "there is no commit to take the time from: set SOURCE_DATE_EPOCH"
fi
export SOURCE_DATE_EPOCH CGO_ENABLED=0

# with TOOL MODULE ARGUMENTS runs a tool for this machine, whatever is built for.
with() {
	tool=$1 module=$2
	shift 2
	if command -v "$tool" >/dev/null; then
		"$tool" "$@"
	else
		GOFLAGS=-mod=mod go run "$module" "$@"
	fi
}

stage=$(mktemp -d)
trap 'rm -rf "$stage"' EXIT
trap 'exit 1' HUP INT TERM
# The package keeps its binary where packages do.
sed 's|/usr/local/bin/endshake|/usr/bin/endshake|' deploy/endshake.service >"$stage/endshake.service"

made=
for arch in ${ARCHES:-amd64 arm64}; do
	binary=endshake-$version-linux-$arch
	package=endshake_${version}_$arch.deb
	GOOS=linux GOARCH=$arch go build -trimpath -buildvcs=false -ldflags "-s -w -X main.version=$version" -o "$folder/$binary" ./cmd/endshake
	cp "$folder/$binary" "$stage/endshake"
	VERSION=$version ARCH=$arch STAGE=$stage with nfpm "$nfpm" package --config deploy/nfpm.yaml --packager deb --target "$folder/$package" >/dev/null
	made="$made $binary $package"
done

# Of the first machine's binary: the others are of the same modules.
first=${ARCHES:-amd64 arm64}
first=endshake-$version-linux-${first%% *}
with cyclonedx-gomod "$cyclonedx" bin -json -std -noserial -version "v$version" -output "$stage/parts.json" "$folder/$first"
# It writes down when it ran, which would be another time each time.
sed "s/\"timestamp\": \"[^\"]*\"/\"timestamp\": \"$(date -u -d "@$SOURCE_DATE_EPOCH" +%Y-%m-%dT%H:%M:%SZ)\"/" \
	"$stage/parts.json" >"$folder/endshake-$version.cdx.json"
made="$made endshake-$version.cdx.json"

cd "$folder"
# shellcheck disable=SC2086
sha256sum $made >SHA256SUMS
cat SHA256SUMS
