# Rootward. `make run` and `make test` set up what they need on Debian 12; the rest expects it set up.
#   make            build/rootward                make run       set up, build, show the demo, serve
#   make test       set up, build, run all tests  make cases     score the published cases
#   make calibrate  is the posterior calibrated?  make jags      against another sampler
#   make bench      timings, as ratios            make lint      format, static analysis
#   make install    PREFIX=/usr/local             make clean
BUILD   ?= build
ifeq ($(origin CC),default)
CC      := gcc
endif
PREFIX  ?= /usr/local
CASES   ?= ../shared/cases
OPT     ?= -O3 -g

WARN := -Wall -Wextra -Wpedantic -Wconversion -Wsign-conversion -Wshadow -Wvla -Wdouble-promotion -Wswitch-enum \
        -Wundef -Wmissing-prototypes -Wstrict-prototypes -Wwrite-strings -Wcast-qual -Wformat=2 -Wnull-dereference -Werror
HARD := -fstack-protector-strong -fPIE -fvisibility=hidden -fno-common -ffp-contract=off
ifeq ($(SAN),)
HARD += -D_FORTIFY_SOURCE=2
else
SANFLAGS := -fsanitize=$(SAN) -fno-sanitize-recover=all -fno-omit-frame-pointer
endif
CFLAGS   = -std=c17 -D_GNU_SOURCE $(OPT) $(WARN) $(HARD) $(SANFLAGS)
LDFLAGS  = -pie -Wl,-z,relro,-z,now,-z,noexecstack $(SANFLAGS)
PKG     := libmicrohttpd jansson sqlite3 libsodium
PKGC     = $(shell pkg-config --cflags $(PKG) 2>/dev/null)
PKGL     = $(shell pkg-config --libs $(PKG) 2>/dev/null)

TSV      := $(wildcard lib/knowledge/*.tsv)
COMPILER := $(patsubst %.c,$(BUILD)/%.o,$(wildcard lib/knowledge/*.c))
ENGINE   := $(patsubst %.c,$(BUILD)/%.o,$(wildcard lib/*.c)) $(BUILD)/knowledge.o
SERVER   := $(patsubst %.c,$(BUILD)/%.o,$(wildcard server/*.c server/routes/*.c))
FLOOR2   := $(filter-out $(BUILD)/server/main.o,$(SERVER))

.PHONY: all run test unit oracle published service deployment browser sanitize cases bench lint format install clean setup \
        setup-test calibrate calibrate-quick jags jags-quick recompute glpk
.SECONDARY:
all: $(BUILD)/rootward

$(BUILD)/%.o: %.c
	@mkdir -p $(@D)
	@echo cc $<
	@$(CC) $(CFLAGS) -MMD -MP -Ilib $(if $(filter server/%,$<),-Iserver $(PKGC)) -c $< -o $@

$(BUILD)/compile-knowledge: $(COMPILER)
	@echo ld $@
	@$(CC) $(LDFLAGS) $^ -lsodium -lm -o $@
$(BUILD)/knowledge.c: $(BUILD)/compile-knowledge $(TSV)
	$(BUILD)/compile-knowledge lib/knowledge $@
$(BUILD)/knowledge.o: $(BUILD)/knowledge.c lib/rootward.h
	@echo cc $<
	@$(CC) $(CFLAGS) -Ilib -c $< -o $@
$(BUILD)/librootward.a: $(ENGINE)
	rm -f $@ && $(AR) rcs $@ $^
$(BUILD)/rootward: $(SERVER) $(BUILD)/librootward.a
	@echo ld $@
	@$(CC) $(LDFLAGS) $^ $(PKGL) -lm -o $@

# Tests. Each folder of C tests makes one Criterion program.
TESTFLAGS = $(filter-out -fvisibility=hidden,$(CFLAGS)) -Wno-missing-prototypes -Wno-null-dereference
$(BUILD)/tests/%.o: tests/%.c
	@mkdir -p $(@D)
	@echo cc $<
	@$(CC) $(TESTFLAGS) -MMD -MP -Ilib -Iserver $(PKGC) -c $< -o $@
define test_program
$(BUILD)/test-$(1): $$(patsubst %.c,$(BUILD)/%.o,$$(wildcard tests/$(1)/*.c)) $(FLOOR2) $(BUILD)/librootward.a
	@echo ld $$@
	@$$(CC) $$(LDFLAGS) $$^ -lcriterion $$(PKGL) $(2) -lm -o $$@
endef
$(eval $(call test_program,unit,))
$(eval $(call test_program,published,))
$(eval $(call test_program,service,-lcurl))

# The oracle recomputes posteriors by brute force: over a small invented anatomy in full, over the real one in part.
ORACLE := $(BUILD)/tests/oracle/oracle.o $(BUILD)/tests/oracle/support.o
$(BUILD)/oracle/knowledge.c: $(BUILD)/compile-knowledge $(wildcard tests/oracle/reduced/*.tsv)
	@mkdir -p $(@D)
	$(BUILD)/compile-knowledge tests/oracle/reduced $@
$(BUILD)/oracle/knowledge.o: $(BUILD)/oracle/knowledge.c lib/rootward.h
	@echo cc $<
	@$(CC) $(CFLAGS) -Ilib -c $< -o $@
$(BUILD)/test-oracle-reduced: $(ORACLE) $(BUILD)/tests/oracle/test_reduced.o $(BUILD)/oracle/knowledge.o \
                              $(filter-out $(BUILD)/knowledge.o,$(ENGINE))
	@echo ld $@
	@$(CC) $(LDFLAGS) $^ -lcriterion -lm -o $@
$(BUILD)/test-oracle-full: $(ORACLE) $(BUILD)/tests/oracle/test_full.o $(BUILD)/librootward.a
	@echo ld $@
	@$(CC) $(LDFLAGS) $^ -lcriterion -lm -o $@

unit: $(BUILD)/test-unit $(BUILD)/compile-knowledge
	RW_COMPILER=$(BUILD)/compile-knowledge timeout 900 $(BUILD)/test-unit --tap=- -j2 | tests/summary unit
oracle: $(BUILD)/test-oracle-reduced $(BUILD)/test-oracle-full
	timeout 900 $(BUILD)/test-oracle-reduced --tap=- -j1 | tests/summary oracle-reduced
	timeout 900 $(BUILD)/test-oracle-full --tap=- -j1 | tests/summary oracle-full
published: $(BUILD)/test-published
	timeout 600 $(BUILD)/test-published --tap=- -j2 | tests/summary published
service: $(BUILD)/test-service $(BUILD)/rootward
	RW_BINARY=$(BUILD)/rootward timeout 900 $(BUILD)/test-service --tap=- -j2 | tests/summary service
browser: $(BUILD)/rootward
	tests/browser/run
# A posterior and an explanation from GET /v1/model alone.
recompute: $(BUILD)/rootward
	ROOTWARD=$(abspath $(BUILD)/rootward) python3 tests/recompute/run
# Twelve exams against a general-purpose sampler; three of them as part of `make test`.
jags: $(BUILD)/rootward
	python3 tests/jags/check --binary $(BUILD)/rootward
jags-quick: $(BUILD)/rootward
	python3 tests/jags/check --quick --binary $(BUILD)/rootward

# Simulated patients: is the posterior calibrated, and does it choose checks well? PATIENTS=2000 makes it shorter.
PATIENTS ?= 10000
SIMULATE := $(patsubst %.c,$(BUILD)/%.o,$(wildcard tests/calibrate/*.c)) $(BUILD)/tests/oracle/oracle.o
CHOOSE   := $(patsubst %,$(BUILD)/tests/%.o,choose/choose calibrate/draw calibrate/examine oracle/oracle)
$(SIMULATE) $(CHOOSE): TESTFLAGS += -Itests/oracle -Itests/calibrate
$(BUILD)/simulate: $(SIMULATE) $(BUILD)/librootward.a
	@echo ld $@
	@$(CC) $(LDFLAGS) $^ -lm -o $@
$(BUILD)/choose: $(CHOOSE) $(BUILD)/librootward.a
	@echo ld $@
	@$(CC) $(LDFLAGS) $^ -lm -o $@
calibrate: $(BUILD)/simulate $(BUILD)/choose
	$(BUILD)/simulate --patients $(PATIENTS) --folder $(BUILD)/calibrate
	$(BUILD)/choose
# Part of `make test`: a short run that must pass, and a spoilt one that must fail.
calibrate-quick: $(BUILD)/simulate
	tests/calibrate/quick $(BUILD)/simulate $(BUILD)/calibrate-quick
deployment: $(BUILD)/rootward
	tests/deploy

# The C tests again under AddressSanitizer and UndefinedBehaviorSanitizer; a leak aborts its test.
sanitize:
	@$(MAKE) --no-print-directory -j$(shell nproc) BUILD=$(BUILD)/asan SAN=address,undefined OPT='-O1 -g' \
	    $(BUILD)/asan/rootward $(BUILD)/asan/test-unit $(BUILD)/asan/test-service
	ASAN_OPTIONS=abort_on_error=1:detect_leaks=1 $(MAKE) BUILD=$(BUILD)/asan SAN=address,undefined OPT='-O1 -g' \
	    unit service

setup:
	@deploy/setup build
setup-test:
	@deploy/setup test
TESTS := unit oracle-reduced oracle-full published service
test: setup-test
	@$(MAKE) --no-print-directory -j$(shell nproc) all $(TESTS:%=$(BUILD)/test-%)
	@$(MAKE) --no-print-directory unit oracle published recompute jags-quick calibrate-quick glpk service deployment browser sanitize
run: setup
	@$(MAKE) --no-print-directory -j$(shell nproc) all
	@$(BUILD)/rootward assess --text schema/examples/demo.json
	@mkdir -p $(BUILD)/data && chmod 700 $(BUILD)/data
	@exec $(BUILD)/rootward serve --data $(BUILD)/data --static static --signin

# The best plan against GLPK's optimum of the same problem as an integer program; libglpk is for the tests alone.
glpk: $(BUILD)/check-glpk
	$(BUILD)/check-glpk 5000
$(BUILD)/check-glpk: $(BUILD)/tests/glpk/check.o $(BUILD)/librootward.a
	@echo ld $@
	@$(CC) $(LDFLAGS) $^ -lglpk -lm -o $@

cases: $(BUILD)/rootward
	python3 tests/cases/report.py --binary $(BUILD)/rootward --cases $(CASES)
bench: $(BUILD)/bench
	$(BUILD)/bench
$(BUILD)/bench: $(patsubst %.c,$(BUILD)/%.o,$(wildcard tests/bench/*.c)) $(FLOOR2) $(BUILD)/librootward.a
	@echo ld $@
	@$(CC) $(LDFLAGS) $^ $(PKGL) -lm -o $@

C_FILES = $(wildcard lib/*.[ch] lib/knowledge/*.[ch] server/*.[ch] server/routes/*.[ch] tests/*/*.[ch])
lint: $(BUILD)/knowledge.c
	clang-format --dry-run -Werror $(C_FILES)
	clang-tidy --quiet $(filter %.c,$(filter lib/% server/%,$(C_FILES))) -- -std=c17 -D_GNU_SOURCE -Ilib -Iserver $(PKGC)
	cppcheck --quiet --std=c11 --enable=warning,portability --error-exitcode=1 --inline-suppr -Ilib -Iserver lib server
format:
	clang-format -i $(C_FILES)

install: $(BUILD)/rootward
	install -D -m 755 $(BUILD)/rootward $(DESTDIR)$(PREFIX)/bin/rootward
	for f in static/*; do install -D -m 644 $$f $(DESTDIR)$(PREFIX)/share/rootward/$$f; done
clean:
	rm -rf $(BUILD)

-include $(shell find $(BUILD) -name '*.d' 2>/dev/null)
