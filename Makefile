# Bayround. `make` alone lists what can be asked for.
#
# A fresh machine needs Go (1.26 or later), make and apt. What else a target
# needs it installs itself and says so.

SHELL := bash
.SHELLFLAGS := -euo pipefail -c
.DEFAULT_GOAL := help
.DELETE_ON_ERROR:

GO ?= go
# Nothing built here carries a stamp of the version control: the tree may be a
# plain copy.
BUILD := $(GO) build -buildvcs=false
BIN := build/bin

# The tools, each with its package. Their versions stand in tools.mod, apart
# from go.mod, so that what they depend on stays out of the product. tools.mod
# is not to be tidied: it also names the module that carries the proto source
# of the validation rules, which no Go package imports.
buf_package := github.com/bufbuild/buf/cmd/buf
gofumpt_package := mvdan.cc/gofumpt
grpc-health-probe_package := github.com/grpc-ecosystem/grpc-health-probe
grpcurl_package := github.com/fullstorydev/grpcurl/cmd/grpcurl
protoc-gen-go_package := google.golang.org/protobuf/cmd/protoc-gen-go
protoc-gen-go-grpc_package := google.golang.org/grpc/cmd/protoc-gen-go-grpc
staticcheck_package := honnef.co/go/tools/cmd/staticcheck
TOOL_NAMES := buf gofumpt grpc-health-probe grpcurl protoc-gen-go protoc-gen-go-grpc staticcheck
TOOLS := $(TOOL_NAMES:%=$(BIN)/%)
PROTO_TOOLS := $(BIN)/buf $(BIN)/protoc-gen-go $(BIN)/protoc-gen-go-grpc

RULES_MODULE := github.com/bufbuild/protovalidate
RULES_PROTO := build/contract/deps/buf/validate/validate.proto

# A number of inputs, not seconds: with seconds Go 1.26 now and then calls the
# end of the time a failure (go.dev/issue/75804, mended in Go 1.27).
FUZZ ?= 20000x
BENCH ?= .
# How often `make laws` draws each property; make test draws 100 times.
LAWS ?= 2000
# The packages whose properties it draws.
PACKAGES ?= ./...
# The state of the contract that must not be broken; see .ci/contract-base.
CONTRACT_BASE ?= $(shell .ci/contract-base)

.PHONY: help
help: ## list the targets
	@awk -F ':.*## ' '/^[a-z-]+:.*## / { printf "  make %-12s %s\n", $$1, $$2 }' $(MAKEFILE_LIST)

.PHONY: demo
demo: $(BIN)/server $(BIN)/kiosk $(BIN)/grpcurl $(BIN)/grpc-health-probe ## a fresh station with demo vehicles: rounds, a server to ask, the tablet and the bay display to open
	$(BIN)/server demo --kiosk $(BIN)/kiosk --identity-to build/demo

.PHONY: server
server: $(BIN)/server ## build the station server into build/bin

.PHONY: kiosk
kiosk: $(BIN)/kiosk $(BIN)/kiosk-linux-arm64 ## build the tablet's program into build/bin, for this machine and for linux/arm64

# No C, so that one file is the whole program.
.PHONY: $(BIN)/server $(BIN)/kiosk $(BIN)/kiosk-linux-arm64
$(BIN)/server:
	@$(BUILD) -o $@ ./server

$(BIN)/kiosk:
	@CGO_ENABLED=0 $(BUILD) -trimpath -o $@ ./kiosk

$(BIN)/kiosk-linux-arm64:
	@CGO_ENABLED=0 GOOS=linux GOARCH=arm64 $(BUILD) -trimpath -ldflags=-s -o $@ ./kiosk

# Vet has looked at everything before (lint), so go test does not look again.
TEST_FLAGS := -count=1 -shuffle=on -timeout 40m -vet=off -v
# Under the race detector everything takes about four times as long, so it looks where it
# can find something. Three kinds of tests run without it:
#
# These packages start no goroutine, their tests neither. internal/racefree_test.go holds
# the list to that.
RACE_FREE := catalogue fault feature measure notice packtest plan plan/ground plan/sop roundproof schedule signature trend verdict
# These try the programs as they are built for people, from their commands to the pages;
# what in them runs side by side is raced in the packages below them. SIDE_BY_SIDE are the
# tests in them with many callers at once, which run raced alone.
WHOLE := ./kiosk ./server ./internal/county
SIDE_BY_SIDE := ^(TestKill_LosesNothingAcknowledgedAndDoublesNothing|TestServe_StopsUnderLoad|TestWatch_.*|TestBackup_IsRestoredByAnotherProcess.*|TestRefill_AStation.*)$$
# These take many cases one after the other, or look at one page after the other; each
# kind of case is also in a test of its package that is raced.
ONE_BY_ONE := ^(TestDamage_NeverInSilence|TestDesk_(Laws|Sound.*)|TestUplink_ATabletThatFallsDead.*|Test(TabletPage|BayPage|Marks|Past|Pages)_.*|TestAdoptStanding_TwinSays.*|TestPrune_(Says|Tells).*|TestOrderOfArrival.*|TestRehearse_TheSame.*|TestMend_(BringsNo|OfAny).*|TestGetLibrary_OfTheDemo.*|TestGetWalk|TestAdoptLibrary_TakesParts|TestHistory_AnswersAsItDidThen|TestWords_NoFileTells.*|TestDocuments_.*)$$
# What takes longest is begun first, and what runs unraced runs beside what is raced, so that
# no core waits: many tests wait for a disk, a browser or another program.
LONGEST := ./internal/round ./internal/screen ./internal/station ./internal/journal ./internal

.PHONY: test
test: machine tools proto-check lint ## everything that must hold: contract, lint, vet, all tests, with the race detector where there are goroutines
	@mkdir -p build
	@rm -f build/test*.log
	@echo "go test ./..., raced where it can find something (whole output in build/test.log)"
	@raced=$$($(GO) list ./... | grep -vxF "$$($(GO) list $(RACE_FREE:%=./internal/%) $(WHOLE))"); \
	{ failed=0; \
		{ fell=0; \
			$(GO) test -p 1 $(TEST_FLAGS) -skip '$(SIDE_BY_SIDE)' $(WHOLE) $(RACE_FREE:%=./internal/%) || fell=1; \
			$(GO) test -p 1 $(TEST_FLAGS) -run '$(ONE_BY_ONE)' $(LONGEST) || fell=1; \
			exit $$fell; \
		} >build/test-unraced.log 2>&1 & \
		$(GO) test -race $(TEST_FLAGS) -skip '$(ONE_BY_ONE)' $(LONGEST) $$raced || failed=1; \
		$(GO) test -race $(TEST_FLAGS) -run '$(SIDE_BY_SIDE)' $(WHOLE) || failed=1; \
		wait $$! || failed=1; \
		cat build/test-unraced.log; \
		exit $$failed; \
	} 2>&1 | tee build/test.log | awk -f .ci/closing.awk
	@rm build/test-unraced.log
	@.ci/skips build/test.log

# The tests measure text on the pages, so they need the first font that the pages name.
LETTERS := /usr/share/fonts/truetype/liberation/LiberationSans-Regular.ttf

.PHONY: machine
machine: # what apt has and Go has not: a C compiler for the race detector, git, strace, a browser, a reader of what it prints and the letters the pages are set in
	@.ci/machine gcc:gcc,libc6-dev git:git strace:strace pdftotext:poppler-utils $(if $(CHROME),,chromium:chromium) $(if $(wildcard $(LETTERS)),,liberation-sans:fonts-liberation)

.PHONY: tools
tools: $(TOOLS) ## build the tools of tools.mod into build/bin

$(TOOLS): $(BIN)/%: tools.mod tools.sum
	@echo "building $* (version in tools.mod)"
	@$(BUILD) -modfile=tools.mod -o $@ $($*_package)

$(RULES_PROTO): tools.mod
	@$(GO) mod download -modfile=tools.mod $(RULES_MODULE)
	@rm -rf build/contract/deps && mkdir -p build/contract/deps
	@cp -r "$$($(GO) list -modfile=tools.mod -m -f '{{.Dir}}' $(RULES_MODULE))/proto/protovalidate/buf" build/contract/deps/
	@chmod -R u+w build/contract/deps && touch $@

.PHONY: proto
proto: $(PROTO_TOOLS) $(RULES_PROTO) ## format the contract and generate its Go code
	$(BIN)/buf format -w proto
	$(BIN)/buf generate proto

.PHONY: proto-check
proto-check: $(PROTO_TOOLS) $(RULES_PROTO) ## fail when the contract breaks a client, or generated code is not what it says
	@$(BIN)/buf format -d --exit-code proto
	@$(BIN)/buf lint
	@.ci/contract-breaking "$(CONTRACT_BASE)"
	@rm -rf build/contract/generated
	@$(BIN)/buf generate proto --output build/contract/generated
	@diff -r --exclude='*.proto' --exclude=doc.go build/contract/generated/proto proto \
		|| { rm -rf build/contract/generated; echo "generated code is not what the contract says; run: make proto" >&2; exit 1; }
	@rm -rf build/contract/generated

.PHONY: lint
lint: $(BIN)/gofumpt $(BIN)/staticcheck ## gofumpt, go vet, staticcheck
	@unformatted=$$($(BIN)/gofumpt -l $(wildcard internal proto server kiosk)) && if [ -n "$$unformatted" ]; then \
		printf 'not formatted; run %s -w on:\n%s\n' '$(BIN)/gofumpt' "$$unformatted" >&2; exit 1; fi
	$(GO) vet ./...
	$(BIN)/staticcheck ./...

.PHONY: bench
bench: ## every benchmark, or those of BENCH=pattern
	$(GO) test -run '^$$' -bench '$(BENCH)' -benchmem -timeout 30m ./...

.PHONY: fuzz
fuzz: ## every fuzz target with FUZZ=20000x inputs
	@for package in $$($(GO) list ./...); do \
		for target in $$($(GO) test -list '^Fuzz' "$$package" | grep '^Fuzz' || true); do \
			echo "$$package $$target"; \
			$(GO) test -run '^$$' -fuzz "^$$target\$$" -fuzztime $(FUZZ) "$$package"; \
		done; \
	done

# Only a package that draws knows how often, so each is asked for its own.
.PHONY: laws
laws: ## every property, of all PACKAGES or those given, drawn LAWS=2000 times
	@for dir in $$($(GO) list -f '{{.Dir}}' $(PACKAGES)); do \
		laws=$$(awk '/^func Test/ { name = $$2; sub(/\(.*/, "", name) } /rapid\.Check\(/ { print name }' "$$dir"/*_test.go 2>/dev/null | sort -u | paste -sd '|' -); \
		[ -n "$$laws" ] || continue; \
		$(GO) test -count=1 -timeout 6h -run "^($$laws)\$$" "$$dir" -rapid.checks=$(LAWS); \
	done

.PHONY: power-cuts kills histories damages
power-cuts: ## 1,000 power cuts of a journal on a disk of its own (needs root)
	BAYROUND_POWER_CUTS=1000 $(GO) test -count=1 -timeout 2h -run PowerCut -v ./internal/journal
kills: ## 10,000 kills of the journal, 200 of the server
	BAYROUND_KILLS=10000 $(GO) test -count=1 -timeout 6h -run TestKill_ -v ./internal/journal ./server
histories: ## 200 histories of a dying station held to one order
	BAYROUND_HISTORIES=200 $(GO) test -count=1 -timeout 1h -run Histories -v ./internal/stationtest
damages: ## 5,000 random damages of a record and of a backup: never in silence, and each repaired to the same root
	BAYROUND_DAMAGES=5000 $(GO) test -count=1 -timeout 6h -run 'TestDamage|TestRepair_OfAnyDamage' -v ./internal/journal ./server

.PHONY: fixture
fixture: ## the data folders as this program writes them, kept under NAME=2027-03 for all later ones
	BAYROUND_FIXTURE=$(NAME) $(GO) test -count=1 -run TestFixture_AStations ./kiosk

.PHONY: cover
cover: ## which lines the tests run, in build/cover.html
	@mkdir -p build
	$(GO) test -timeout 15m -coverpkg=./internal/...,./server/...,./kiosk/... -coverprofile=build/cover.profile ./...
	@$(GO) tool cover -html=build/cover.profile -o build/cover.html
	@$(GO) tool cover -func=build/cover.profile | tail -n 1

.PHONY: clean
clean: ## remove everything that was built
	rm -rf build
