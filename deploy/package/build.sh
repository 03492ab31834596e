#!/usr/bin/env bash
# Makes the Debian packages into dist/, or $DIST: build.sh [VERSION] [ARCH…], where
# ARCH is amd64, arm64 or armhf. The same source gives the same bytes.
set -euo pipefail
cd "$(dirname "$0")/../.."
version=${1:-0.0.0~dev}
shift || true
arches=${*:-amd64 arm64 armhf}
SOURCE_DATE_EPOCH=${SOURCE_DATE_EPOCH:-$(git log -1 --format=%ct 2>/dev/null || echo 1)}
export SOURCE_DATE_EPOCH
dist=${DIST:-$PWD/dist}
mkdir -p "$dist"
stage=$(mktemp -d)
trap 'rm -rf "$stage"' EXIT

nfpm() { (cd deploy/package && go tool nfpm "$@"); }
build() { CGO_ENABLED=0 GOOS=linux go build -trimpath -buildvcs=false -ldflags "-s -w -X main.version=$version" -o "$1" ./cmd/boundwalk; }

# The manual and the completions come from the commands themselves.
build "$stage/host"
mkdir -p "$stage/man" "$stage/completion"
"$stage/host" manual "$stage/man"
gzip -9n "$stage/man"/*.[15]
"$stage/host" completion bash > "$stage/completion/boundwalk.bash"
"$stage/host" completion zsh > "$stage/completion/_boundwalk"
"$stage/host" completion fish > "$stage/completion/boundwalk.fish"
cp deploy/systemd/* deploy/example/plan.yaml inventory/planfile/plan.schema.json "$stage/"
cp LICENSE "$stage/copyright"

for arch in $arches; do
	case $arch in
		amd64) export GOARCH=amd64 ARCH=amd64 ;;
		arm64) export GOARCH=arm64 ARCH=arm64 ;;
		armhf) export GOARCH=arm GOARM=7 ARCH=arm7 ;;
		*) echo "no such architecture: $arch" >&2; exit 2 ;;
	esac
	build "$stage/boundwalk"
	touch -d "@$SOURCE_DATE_EPOCH" "$stage"/* "$stage"/man/* "$stage"/completion/*
	sed -e "s|\${STAGE}|$stage|g; s|\${ARCH}|$ARCH|g; s|\${VERSION}|$version|g" deploy/package/nfpm.yaml > "$stage/nfpm.yaml"
	GOARCH='' GOARM='' nfpm package --config "$stage/nfpm.yaml" --packager deb --target "$dist/boundwalk_${version}_$arch.deb"
done
