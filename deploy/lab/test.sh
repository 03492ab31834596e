#!/usr/bin/env bash
# Runs every check of the repository. As root it installs the Debian packages
# that the tests need and are missing; without root it says what it left out.
# With CI set, nothing may be left out.
set -euo pipefail
cd "$(dirname "$0")/../.."
say() { printf '\n== %s\n' "$*"; }
left_out=()

missing=()
if command -v dpkg-query >/dev/null; then
  while read -r p; do
    [ -z "$p" ] && continue
    dpkg-query -W -f '${Status}' "$p" 2>/dev/null | grep -q 'ok installed' || missing+=("$p")
  done < deploy/lab/packages.txt
  if [ ${#missing[@]} -gt 0 ] && [ "$(id -u)" = 0 ]; then
    say "installing ${missing[*]}"
    # The daemons are for the tests to start; none may start by itself.
    policy=/usr/sbin/policy-rc.d
    [ -e "$policy" ] || { printf '#!/bin/sh\nexit 101\n' > "$policy"; chmod +x "$policy"; made_policy=1; }
    apt-get update -qq
    DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "${missing[@]}" >/dev/null
    [ -z "${made_policy:-}" ] || rm -f "$policy"
  elif [ ${#missing[@]} -gt 0 ]; then
    left_out+=("tests against ${missing[*]} (not installed, and not root)")
  fi
else
  left_out+=("tests against real daemons (no dpkg to install them with)")
fi
[ "$(id -u)" = 0 ] || left_out+=("tests in network namespaces (not root)")

say "format"
unformatted=$(gofmt -l $(git ls-files '*.go' 2>/dev/null || find . -name '*.go'))
[ -z "$unformatted" ] || { echo "gofmt would change: $unformatted"; exit 1; }

say "vet"
go vet ./...

say "builds without cgo for amd64, arm64, arm"
for arch in amd64 arm64 arm; do CGO_ENABLED=0 GOOS=linux GOARCH=$arch go build -o /dev/null ./cmd/boundwalk; done

say "staticcheck"
if ! go run honnef.co/go/tools/cmd/staticcheck@v0.8.2 ./...; then
  [ -z "${CI:-}" ] && left_out+=("staticcheck (see above)") || exit 1
fi

say "modules"
go mod verify >/dev/null && echo verified

say "tests with the race detector"
if [ "$(go env CGO_ENABLED)" = 1 ] && command -v "$(go env CC)" >/dev/null; then
  go test -race -timeout 15m ./...
  say "years of service, which the race detector shortens"
  go test -run 'TestTenYears|TestRetention' ./cmd/internal/daemon ./cmd/internal/years
else
  left_out+=("the race detector (no C compiler)")
  go test -timeout 15m ./...
fi

if [ ${#left_out[@]} -gt 0 ]; then
  say "left out"
  printf '  %s\n' "${left_out[@]}"
  [ -z "${CI:-}" ] || { echo "CI may leave nothing out"; exit 1; }
else
  say "all checks ran"
fi
