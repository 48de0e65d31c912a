# trivet: build, try, check. `make help` lists the targets.
GO        ?= go
BIN       := bin/trivet
DEMO_DIR  ?= out/demo
TOOLS     := -modfile=tools.mod
export CGO_ENABLED = 0

.PHONY: help build demo test race lint bench fuzz clean

help: ## list the targets
	@grep -E '^[a-z-]+:.*##' $(MAKEFILE_LIST) | sed 's/:.*##/\t/'

build: ## build the one static binary into bin/
	$(GO) build -trimpath -o $(BIN) ./cmd/trivet

demo: build ## make the demo study, answer it, write report and figures
	$(BIN) demo --out $(DEMO_DIR)

test: lint ## vet, staticcheck and the whole test suite
	$(GO) test ./...

lint: ## go vet and staticcheck
	$(GO) vet ./...
	$(GO) tool $(TOOLS) staticcheck ./...

race: ## the tests under the race detector (needs a C compiler)
	CGO_ENABLED=1 $(GO) test -race ./...

bench: ## every Go benchmark
	$(GO) test -run '^$$' -bench . -benchmem ./...

clean: ## remove what was built
	rm -rf bin out
