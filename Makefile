# make test   everything: vet, format, staticcheck, unit tests with race, fuzz seeds, scripts, the lab
# make build  the program for this machine
# make all-arch  the program for every machine that is supported
# make bench  the benchmarks, as ratios where they compare; half an hour, for one of them is a year of runs

GO      ?= go

.PHONY: test build all-arch bench fuzz deb

build:
	CGO_ENABLED=0 $(GO) build -trimpath -o boundwalk ./cmd/boundwalk

test:
	deploy/lab/test.sh

all-arch:
	CGO_ENABLED=0 GOOS=linux GOARCH=amd64 $(GO) build -trimpath -o dist/boundwalk-amd64 ./cmd/boundwalk
	CGO_ENABLED=0 GOOS=linux GOARCH=arm64 $(GO) build -trimpath -o dist/boundwalk-arm64 ./cmd/boundwalk
	CGO_ENABLED=0 GOOS=linux GOARCH=arm GOARM=7 $(GO) build -trimpath -o dist/boundwalk-armhf ./cmd/boundwalk

deb:
	deploy/package/build.sh $(VERSION)

bench:
	$(GO) test -run '^$$' -bench . -benchmem -timeout 60m ./...
