# trivet: build, try, check. `make help` lists the targets.
GO        ?= go
BIN       := bin/trivet
DEMO_DIR  ?= out/demo
TOOLS     := -modfile=tools.mod
export CGO_ENABLED = 0

NPM       ?= npm
.PHONY: help build ui checker demo test race lint bench bench-large bench-paint bench-traces peers fuzz clean

help: ## list the targets
	@grep -E '^[a-z-]+:.*##' $(MAKEFILE_LIST) | sed 's/:.*##/\t/'

build: ## build the one static binary into bin/
	$(GO) build -trimpath -o $(BIN) ./cmd/trivet

ui: web/ui/dist/study.js ## build the scripts of the pages (needs Node.js)

web/ui/dist/study.js: web/ui/node_modules/.package-lock.json $(wildcard web/ui/src/*.ts) web/ui/build.mjs web/ui/tsconfig.json
	cd web/ui && $(NPM) run --silent check && $(NPM) run --silent build

web/ui/node_modules/.package-lock.json: web/ui/package-lock.json
	cd web/ui && $(NPM) ci --no-audit --no-fund && touch node_modules/.package-lock.json

demo: ui build ## make the demo study, answer it, write report and figures
	$(BIN) demo --out $(DEMO_DIR)

checker: web/checker/node_modules/.package-lock.json ## fetch the checker of HTML that the tests run (needs Node.js, and Java to run)

web/checker/node_modules/.package-lock.json: web/checker/package-lock.json
	cd web/checker && $(NPM) ci --ignore-scripts --no-audit --no-fund && touch node_modules/.package-lock.json

test: ui checker lint ## vet, staticcheck and the whole test suite
	$(GO) test ./...

lint: ## go vet and staticcheck
	$(GO) vet ./...
	$(GO) tool $(TOOLS) staticcheck ./...

race: ## the tests under the race detector (needs a C compiler)
	CGO_ENABLED=1 $(GO) test -race ./...

bench: ## every Go benchmark
	$(GO) test -run '^$$' -bench . -benchmem ./...

bench-large: ## load logs of 1 GB in every form and count the memory it takes (Linux)
	$(GO) test -tags large -run Load1GB -v -count=1 -timeout 60m ./logfile

bench-paint: ui ## how soon Chromium paints the desk and a study of 10,000 cooks, beside a page of one line
	TRIVET_BROWSER=1 $(GO) test ./web -run TestPaintInABrowser -blocks 5000 -v -count=1 -timeout 5m

bench-traces: ui ## the traces of 200 cooks, 8 channels, 2 h at 1 Hz in Chromium: how soon they answer, frames a second
	TRIVET_BROWSER=1 $(GO) test ./web -run TestTracesOfAllCooksInABrowser -cooks 200 -seconds 7200 -v -count=1 -timeout 10m

peers: ## read the same tables with trivet and pandas in turns (needs python3-pandas, python3-openpyxl)
	$(GO) test -tags peers -run TestPeers -v -count=1 -timeout 30m ./logfile

check-coverage: ## error rates and coverage of intervals, by simulation from fixed seeds
	$(GO) test -tags coverage -run Coverage -v ./stats ./answer ./measure

clean: ## remove what was built
	rm -rf bin out web/ui/node_modules web/checker/node_modules
	find web/ui/dist -type f ! -name placeholder.html -delete
