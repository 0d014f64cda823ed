# stillrow: build, try, test. `make help` lists the targets.
# SPDX-License-Identifier: GPL-3.0-or-later

VERSION := 0.1.0
PREFIX  ?= /usr/local
BUILD   ?= build
CC      ?= cc
AR      ?= ar
CFLAGS  ?= -O3 -g
PKGS    := fftw3 gsl jansson
# libcsv ships no pkg-config file, and inih has one on some systems only; on a Mac both are where brew keeps them.
BREW    := $(if $(filter Darwin,$(shell uname)),$(shell brew --prefix 2>/dev/null))
LIBS     = $(shell pkg-config --libs $(PKGS)) $(BREW:%=-L%/lib) -lcsv -linih -lpthread -lm

SR_CPPFLAGS = -Iinclude -Isrc -D_POSIX_C_SOURCE=200809L -DSR_VERSION='"$(VERSION)"' $(CPPFLAGS) \
              $(shell pkg-config --cflags $(PKGS)) $(BREW:%=-I%/include)
SR_CFLAGS   = -std=c11 -Wall -Wextra -Wpedantic -pthread $(CFLAGS)
ifeq ($(DEV),1)
SR_CFLAGS  += -Werror -Wshadow -Wconversion -Wstrict-prototypes -Wmissing-prototypes -Wformat=2
endif
ifneq ($(SANITIZE),)
SR_CFLAGS  += -fsanitize=$(SANITIZE) -fno-sanitize-recover=all -fno-omit-frame-pointer
endif

PROGRAM   := $(BUILD)/stillrow
LIBRARY   := $(BUILD)/libstillrow.a
LIB_SRC   := $(filter-out src/commands/%,$(wildcard src/*/*.c))
CLI_SRC   := src/main.c $(wildcard src/commands/*.c)
SIM_SRC   := $(wildcard tests/sim/*.c tests/support/*.c)
TEST_SRC  := $(wildcard tests/*_test.c tests/published/*_test.c tests/harden/*_test.c tests/fuzz/*_fuzz.c)
TOOL_SRC  := $(wildcard sample-logs/*.c) $(wildcard tests/bench/*.c)
object     = $(patsubst %.c,$(BUILD)/%.o,$(1))
TESTS     := $(patsubst %.c,$(BUILD)/%,$(TEST_SRC))
THREADED  := tests/harden/threads_test tests/harden/readers_test tests/gnuplot_pipe_test tests/ledger_threads_test
TOOLS     := $(patsubst %.c,$(BUILD)/%,$(TOOL_SRC))
ALL_C     := $(wildcard include/stillrow/*.h src/*.[ch] src/*/*.[ch] tests/*.[ch] tests/*/*.[ch] sample-logs/*.[ch] docs/examples/*.[ch])

.PHONY: all setup demo programs test bench tables fuzz asan tsan coverage lint format install uninstall clean help
.DELETE_ON_ERROR:
.SECONDARY:

all: $(PROGRAM) $(LIBRARY)

help:
	@echo 'setup     install what is missing (asks the system package manager), then build'
	@echo 'all       build $(PROGRAM) and $(LIBRARY)'
	@echo 'demo      score the sample logs'
	@echo 'test      all tests;  bench  speed and memory, side by side with a script'
	@echo 'tables    how often units, causes and comparisons are right, on simulated flights (ten minutes)'
	@echo 'asan      the tests under address and undefined-behaviour sanitizers'
	@echo 'tsan      the tests with threads under the thread sanitizer;  coverage  lines of src/ that the tests reach'
	@echo 'fuzz      four fuzz targets, FUZZ_SECONDS=20 each (clang)'
	@echo 'lint      clang-format, cppcheck, clang-tidy'
	@echo 'install   to $(PREFIX) (PREFIX, DESTDIR);  uninstall, clean'

# On all processors, unless whoever called make said on how many.
CORES    := $(shell getconf _NPROCESSORS_ONLN 2>/dev/null || echo 1)
parallel  = $(if $(findstring -j,$(MAKEFLAGS)),,-j$(CORES))

setup:
	@sh .ci/install-deps
	@$(MAKE) --no-print-directory $(parallel) all

$(BUILD)/%.o: %.c
	@mkdir -p $(@D)
	$(CC) $(SR_CPPFLAGS) $(SR_CFLAGS) -MMD -MP -c -o $@ $<

$(BUILD)/tests/%.o: SR_CPPFLAGS += -Itests

$(LIBRARY): $(call object,$(LIB_SRC))
	@rm -f $@
	$(AR) rcs $@ $^

$(PROGRAM): $(call object,$(CLI_SRC)) $(LIBRARY)
	$(CC) $(SR_CFLAGS) $(LDFLAGS) -o $@ $^ $(LIBS)

$(BUILD)/sample-logs/%.o: SR_CPPFLAGS += -Itests

$(TESTS) $(TOOLS): $(BUILD)/%: $(BUILD)/%.o $(call object,$(SIM_SRC)) $(LIBRARY)
	$(CC) $(SR_CFLAGS) $(LDFLAGS) -o $@ $^ $(if $(findstring _test,$@),-lcmocka) $(LIBS)

# A sanitizer has an allocator of its own: there the linker hands the library's own calls to the tests that fail them.
ifneq ($(SANITIZE),)
$(BUILD)/tests/harden/alloc%.o: SR_CPPFLAGS += -DFAILING_WRAPPED
$(BUILD)/tests/harden/alloc%: LDFLAGS += -Wl,--wrap=malloc,--wrap=calloc,--wrap=realloc,--wrap=strdup
endif

# The calls that write files, failed in turn by this test.
$(BUILD)/tests/harden/io_test: LDFLAGS += -Wl,--wrap=open,--wrap=write,--wrap=fsync,--wrap=close,--wrap=rename,--wrap=fchmod

demo: $(PROGRAM)
	$(PROGRAM) score sample-logs/*.csv

programs: $(PROGRAM) $(TESTS)

test:
	@$(MAKE) --no-print-directory $(parallel) programs
	@BUILD=$(BUILD) sh tests/run.sh $(TESTS)

bench: $(PROGRAM) $(TOOLS)
	@BUILD=$(BUILD) sh tests/bench/run.sh

tables: $(BUILD)/tests/bench/units_table $(BUILD)/tests/bench/causes_table $(BUILD)/tests/bench/compare_table
	@set -e; for t in $^; do $$t; done

fuzz:
	@MAKE=$(MAKE) sh tests/fuzz/run.sh

asan:
	@$(MAKE) --no-print-directory test BUILD=build-asan SANITIZE=address,undefined CFLAGS='-O1 -g'

tsan:
	@$(MAKE) --no-print-directory BUILD=build-tsan SANITIZE=thread CFLAGS='-O1 -g' build-tsan/stillrow $(THREADED:%=build-tsan/%)
	@SCRIPTS= TSAN_OPTIONS=halt_on_error=1 BUILD=build-tsan sh tests/run.sh $(THREADED:%=build-tsan/%)
	@set -e; for v in score explain; do for j in 1 4; do TSAN_OPTIONS=halt_on_error=1 build-tsan/stillrow $$v --jobs $$j --json \
	    sample-logs/*.csv >build-tsan/$$v-$$j; done; cmp build-tsan/$$v-1 build-tsan/$$v-4; done; echo 'tsan: clean'

coverage:
	@MAKE=$(MAKE) sh tests/harden/coverage.sh

lint:
	@sh .ci/lint $(ALL_C)

format:
	clang-format -i $(ALL_C)

# What is installed: each file, and where under PREFIX.
DOC      := share/doc/stillrow
INSTALLED = $(PROGRAM):bin/stillrow $(LIBRARY):lib/libstillrow.a $(BUILD)/stillrow.pc:lib/pkgconfig/stillrow.pc \
            docs/stillrow.1:share/man/man1/stillrow.1 docs/stillrow.bash:share/bash-completion/completions/stillrow \
            $(foreach f,$(wildcard include/stillrow/*.h),$(f):$(f)) $(foreach f,$(wildcard README.md LICENSE),$(f):$(DOC)/$(f)) \
            $(foreach f,$(wildcard docs/*.md docs/*/*),$(f):$(DOC)/$(f)) \
            $(foreach f,$(wildcard sample-logs/*.csv sample-logs/*.ini sample-logs/*.md sample-logs/*/*),$(f):$(DOC)/$(f))
into      = to="$(DESTDIR)$(PREFIX)/$${f\#*:}"

install: all
	@sed 's|@PREFIX@|$(PREFIX)|; s|@VERSION@|$(VERSION)|' docs/stillrow.pc.in >$(BUILD)/stillrow.pc
	@set -e; for f in $(INSTALLED); do $(into); install -d "$${to%/*}"; install -m 644 "$${f%%:*}" "$$to"; done
	@chmod 755 "$(DESTDIR)$(PREFIX)/bin/stillrow"
	@echo "installed $(words $(INSTALLED)) files under $(DESTDIR)$(PREFIX)"

# Removes what install put there, and the directories that are stillrow's alone once they are empty.
uninstall:
	@for f in $(INSTALLED); do $(into); rm -f "$$to"; done
	@for d in include/stillrow $(addprefix $(DOC)/,$(patsubst %/.,%,$(wildcard docs/*/. sample-logs/*/.)) docs sample-logs) $(DOC); do \
	    rmdir "$(DESTDIR)$(PREFIX)/$$d" 2>/dev/null || :; done

clean:
	rm -rf $(BUILD) build-asan build-dev build-fuzz build-tsan build-coverage

-include $(shell find $(BUILD) -name '*.d' 2>/dev/null)
