# underfoot: build, demo, test. Everything that is made lands in .build/ and samples/out/.
#
#   make            the program, .build/release/underfoot
#   make demo       installs what is missing, makes the sample tour, patches it, says where to look
#   make test       installs what is missing, runs all tests, plain and under ASan+UBSan, and a minute of fuzzing
#   make bench lint format clean
#   make races      the command tests, against a program under ThreadSanitizer
#   make memcheck   the command tests, with the program run by valgrind (MEMCHECK_TESTS='cli_tour/*' for some)
#   make soak       a tour of 24 panoramas killed 30 times and continued, against one left alone
#   make fuzz       every reader of outside bytes under libFuzzer, FUZZ_SECONDS each
#   make install    program, libraries, headers, manual pages, completions (PREFIX, DESTDIR, LIBDIR)
#   make deb dist   Debian packages and a source archive, into .build/

BUILD   ?= release
OUT     := .build/$(BUILD)
PREFIX  ?= /usr/local
LIBDIR  ?= $(PREFIX)/lib
CC      ?= cc
CXX     ?= c++

LIBS      := libjpeg libpng zlib libtiff-4 lcms2 exempi-2.0 expat libexif fftw3 inih
TEST_LIBS := criterion proj wcslib

WARNINGS := -Wall -Wextra -Wpedantic -Wshadow -Wconversion -Wsign-conversion -Wstrict-prototypes \
            -Wmissing-prototypes -Wwrite-strings -Wvla -Wformat=2 -Wundef -Werror
OPTIMISE := -O2 -g -fno-math-errno
SANITIZE :=
ifeq ($(BUILD),asan)
OPTIMISE := -O2 -g -fno-omit-frame-pointer
SANITIZE := -fsanitize=address,undefined -fno-sanitize-recover=all
endif

# clang's libFuzzer: BUILD=fuzz, set by `make fuzz`.
ifeq ($(BUILD),fuzz)
CC       := clang
OPTIMISE := -O1 -g -fno-omit-frame-pointer
SANITIZE := -fsanitize=address,undefined -fno-sanitize-recover=all
FUZZED   := -fsanitize=fuzzer-no-link -Wno-pass-failed
endif

# clang's ThreadSanitizer, which libomp's archer tells of OpenMP's barriers: BUILD=tsan, set by `make races`.
ifeq ($(BUILD),tsan)
CC       := clang
OPTIMISE := -O1 -g -fno-omit-frame-pointer
SANITIZE := -fsanitize=thread
FUZZED   := -Wno-pass-failed
endif

# Recursive on purpose: pkg-config is asked only when something is compiled, after the packages are there.
LIB_CFLAGS  = $(shell pkg-config --cflags $(LIBS))
LIB_LINK    = $(shell pkg-config --libs $(LIBS)) -lm
TEST_CFLAGS = $(shell pkg-config --cflags $(TEST_LIBS))
TEST_LINK   = $(shell pkg-config --libs $(TEST_LIBS))
# Debian's OpenCV of single modules has no pkg-config file.
OPENCV_CFLAGS := -isystem /usr/include/opencv4
OPENCV_LINK   := -lopencv_photo -lopencv_imgproc -lopencv_core -lstdc++
OPENCV_OBJECTS := $(OUT)/tests/support/opencv_remap.o $(OUT)/tests/support/opencv_inpaint.o

VERSION := $(shell sed -n 's/^\#define UF_VERSION  *"\(.*\)"/\1/p' include/underfoot/underfoot.h)
# Counted up with every change after which a program has to be compiled again.
ABI     := 3

# One set of objects serves the static and the shared library; only what the public headers declare is seen outside.
SHARE := -fPIC -fvisibility=hidden -fno-semantic-interposition
FLAGS = -std=c11 -ffp-contract=off -D_GNU_SOURCE -D_FILE_OFFSET_BITS=64 -Iinclude -Isrc $(OPTIMISE) $(SHARE) $(SANITIZE) $(FUZZED) -fopenmp -MMD -MP

LIBRARY_SOURCES := $(wildcard src/base/*.c src/sphere/*.c src/remap/*.c src/picture/*.c src/check/*.c src/patch/*.c \
                     src/plan/*.c src/home/*.c src/wrap/*.c src/putback/*.c src/turn/*.c src/level/*.c src/deliver/*.c src/tour/*.c)
CLI_SOURCES     := $(wildcard src/cli/*.c)
TEST_SOURCES    := $(wildcard tests/unit/*.c tests/truth/*.c tests/cli/*.c tests/install/*.c tests/docs/*.c tests/faults/test_*.c tests/page/*.c \
                     tests/support/*.c)
SCENE_SOURCES   := $(wildcard samples/scene/*.c)

LIBRARY_OBJECTS := $(LIBRARY_SOURCES:%.c=$(OUT)/%.o) $(OUT)/page_parts.o
CLI_OBJECTS     := $(CLI_SOURCES:%.c=$(OUT)/%.o)
TEST_OBJECTS    := $(TEST_SOURCES:%.c=$(OUT)/%.o)
BENCH_OBJECTS   := $(patsubst %.c,$(OUT)/%.o,$(wildcard tests/bench/*.c)) $(OUT)/tests/support/caster.o $(OPENCV_OBJECTS)
MANUAL_OBJECTS  := $(patsubst %.c,$(OUT)/%.o,$(wildcard src/manual/*.c))
SCENE_OBJECTS   := $(SCENE_SOURCES:%.c=$(OUT)/%.o)

LIBRARY := $(OUT)/libunderfoot.a
SHARED  := $(OUT)/libunderfoot.so.$(VERSION)
PROGRAM := $(OUT)/underfoot
MANUAL  := $(OUT)/manual
TESTS   := $(OUT)/tests/unit_tests $(OUT)/tests/truth_tests $(OUT)/tests/cli_tests
# What is installed is the plain build, and only that is tested as such; the guide's lines are run with it, too. The review
# page is opened in a browser by the plain build's tests alone: it is the same file whatever build wrote it.
ifeq ($(BUILD),release)
TESTS   += $(OUT)/tests/install_tests $(OUT)/tests/docs_tests $(OUT)/tests/faults_tests $(OUT)/preload.so $(OUT)/tests/page_tests $(SHARED) $(MANUAL)
endif
SCENE   := $(OUT)/scene

.PHONY: all demo test tests fuzz fuzzers races memcheck tiers bench soak lint format install deb dist clean packages-build packages-test packages-lint \
        packages-package
.SECONDARY:

all: $(PROGRAM)

$(LIBRARY): $(LIBRARY_OBJECTS)
	@rm -f $@
	ar rcs $@ $^

$(PROGRAM): $(CLI_OBJECTS) $(LIBRARY)
	$(CC) $(OPTIMISE) $(SANITIZE) -fopenmp -o $@ $^ $(LIB_LINK)

$(SHARED): $(LIBRARY_OBJECTS)
	$(CC) -shared $(OPTIMISE) $(SANITIZE) -fopenmp -Wl,-soname,libunderfoot.so.$(ABI) -Wl,--no-undefined \
	  -Wl,-Bsymbolic-functions -o $@ $^ $(LIB_LINK)

$(MANUAL): $(MANUAL_OBJECTS) $(filter-out %/main.o,$(CLI_OBJECTS)) $(LIBRARY)
	$(CC) $(OPTIMISE) $(SANITIZE) -fopenmp -o $@ $^ $(LIB_LINK)

$(SCENE): $(SCENE_OBJECTS) $(LIBRARY)
	$(CC) $(OPTIMISE) $(SANITIZE) -fopenmp -o $@ $^ $(LIB_LINK)

$(OUT)/tests/%_tests: $(LIBRARY)
	@mkdir -p $(@D)
	$(CC) $(OPTIMISE) $(SANITIZE) -fopenmp -o $@ $(filter %.o,$^) $(LIBRARY) $(LIB_LINK) $(TEST_LINK) $(ORACLE_LINK)
$(OUT)/tests/unit_tests:  $(filter $(OUT)/tests/unit/% $(OUT)/tests/support/%,$(TEST_OBJECTS))
$(OUT)/tests/truth_tests: $(filter $(OUT)/tests/truth/% $(OUT)/tests/support/%,$(TEST_OBJECTS))
$(OUT)/tests/truth_tests: $(OPENCV_OBJECTS)
$(OUT)/tests/truth_tests: ORACLE_LINK := $(OPENCV_LINK)
$(OUT)/tests/cli_tests:   $(filter $(OUT)/tests/cli/% $(OUT)/tests/support/%,$(TEST_OBJECTS))
$(OUT)/tests/page_tests:  $(filter $(OUT)/tests/page/% $(OUT)/tests/support/%,$(TEST_OBJECTS))
$(OUT)/tests/docs_tests: $(filter $(OUT)/tests/docs/% $(OUT)/tests/support/%,$(TEST_OBJECTS))
$(OUT)/tests/faults_tests: $(filter $(OUT)/tests/faults/% $(OUT)/tests/support/%,$(TEST_OBJECTS))
$(OUT)/preload.so: tests/faults/preload.c Makefile
	$(CC) -std=c11 -D_GNU_SOURCE -O1 -Wall -Wextra -Werror -shared -fPIC -o $@ $<
$(OUT)/tests/install_tests: $(filter $(OUT)/tests/install/% $(OUT)/tests/support/%,$(TEST_OBJECTS))

# The Makefile is a prerequisite of every object: other flags, other objects.
$(OUT)/tests/%.o: tests/%.c Makefile
	@mkdir -p $(@D)
	$(CC) $(FLAGS) -Wall -Wextra -Werror -Itests $(LIB_CFLAGS) $(TEST_CFLAGS) -c -o $@ $<

$(OUT)/tests/%.o: tests/%.cpp Makefile
	@mkdir -p $(@D)
	$(CXX) -std=c++17 $(OPTIMISE) $(SANITIZE) -MMD -MP -Wall -Wextra -Werror -Itests $(OPENCV_CFLAGS) -c -o $@ $<

$(OUT)/%.o: %.c Makefile
	@mkdir -p $(@D)
	$(CC) $(FLAGS) $(WARNINGS) $(LIB_CFLAGS) -c -o $@ $<

# The review page, as bytes for the library.
PAGE_SCRIPTS := elements.js pieces.js ticks.js compare.js sphere.js aim.js look.js cards.js sheet.js page.js
$(OUT)/page_parts.c: src/tour/page/embed.sh src/tour/page/page.html src/tour/page/page.css $(PAGE_SCRIPTS:%=src/tour/page/%) Makefile
	@mkdir -p $(@D)
	sh $< src/tour/page $(PAGE_SCRIPTS) >$@.new
	@mv $@.new $@
$(OUT)/page_parts.o: $(OUT)/page_parts.c Makefile
	$(CC) $(FLAGS) $(WARNINGS) -c -o $@ $<

# The sample tour, small, for the tests of every build: rendered once, by the quick one. In the release build the
# scene maker is a prerequisite like any other, so that no second make compiles the same objects at the same time.
SCENES := .build/scenes/made
SCENE_TEXTS := $(SCENE_SOURCES) $(wildcard samples/scene/*.h samples/*.ini)
ifeq ($(BUILD),release)
$(SCENES): $(SCENE_TEXTS) | $(SCENE)
	$(SCENE) --out $(@D) --width 1024 --plate >/dev/null
	@touch $@
else
$(SCENES): $(SCENE_TEXTS)
	@$(MAKE) --no-print-directory $@ BUILD=release
endif

tests: $(PROGRAM) $(SCENE) $(TESTS) $(SCENES)

-include $(OPENCV_OBJECTS:.o=.d) $(BENCH_OBJECTS:.o=.d) $(MANUAL_OBJECTS:.o=.d) $(LIBRARY_OBJECTS:.o=.d) $(CLI_OBJECTS:.o=.d) $(TEST_OBJECTS:.o=.d) $(SCENE_OBJECTS:.o=.d)

# Packages: one list, .ci/packages. Installed where that is allowed, otherwise the command is printed.
packages-build:
	@sh .ci/install build
packages-test:
	@sh .ci/install build test
packages-lint:
	@sh .ci/install build lint
packages-package:
	@sh .ci/install package

$(OUT)/bench: $(BENCH_OBJECTS) $(LIBRARY)
	$(CC) $(OPTIMISE) $(SANITIZE) -fopenmp -o $@ $^ $(LIB_LINK) $(OPENCV_LINK)

FUZZ_SECONDS ?= 60
FUZZ_TARGETS := $(patsubst tests/fuzz/fuzz_%.c,%,$(wildcard tests/fuzz/fuzz_*.c))
$(OUT)/fuzz_%: $(OUT)/tests/fuzz/fuzz_%.o $(OUT)/tests/fuzz/fuzz.o $(LIBRARY)
	$(CC) $(OPTIMISE) $(SANITIZE) -fsanitize=fuzzer -fopenmp -o $@ $(filter %.o,$^) $(LIBRARY) $(LIB_LINK)
# The sheet is read with the program's own options behind it.
$(OUT)/fuzz_sheet: $(filter-out %/main.o,$(CLI_OBJECTS))
fuzzers: $(FUZZ_TARGETS:%=$(OUT)/fuzz_%)

fuzz: packages-test
	@$(MAKE) --no-print-directory $(SCENES) all BUILD=release
	@$(MAKE) --no-print-directory fuzzers BUILD=fuzz
	@sh tests/fuzz/run.sh $(FUZZ_SECONDS) $(FUZZ_TARGETS)

# Criterion does not run under ThreadSanitizer; the program does, and run_program sees what it reports. Tests that limit
# the size of files are left out: libomp could not start.
RACE_TESTS := cli_*/!(leave_nothing_behind_after_a_failure|a_disk_that_fills_up_leaves_nothing)
races: packages-test
	@$(MAKE) --no-print-directory tests BUILD=release
	@$(MAKE) --no-print-directory all BUILD=tsan
	@TSAN_OPTIONS=ignore_noninstrumented_modules=1 OMP_NUM_THREADS=4 OMP_WAIT_POLICY=passive \
	  UF_BUILD_DIR=$(CURDIR)/.build/tsan .build/release/tests/cli_tests --filter '$(RACE_TESTS)'

# Two threads, because valgrind runs them one after the other. libgomp's threads are still there at the exit: only what
# nothing points to is an error. A status of 99 fails any test.
MEMCHECK_TESTS ?= cli_*/*
MEMCHECK = valgrind -q --error-exitcode=99 --leak-check=full --errors-for-leak-kinds=definite --show-leak-kinds=definite
memcheck:
	@sh .ci/install build test memcheck
	@$(MAKE) --no-print-directory tests BUILD=release
	@mkdir -p .build/memcheck
	@$(CC) -O1 -fPIC -shared -o .build/memcheck/exec.so tests/memcheck/exec.c
	@cp .build/release/underfoot .build/memcheck/program
	@printf '#!/bin/sh\nUF_MEMCHECK_PROGRAM=%s/underfoot LD_PRELOAD=%s/exec.so exec $(MEMCHECK) %s/program "$$@"\n' \
	  '$(CURDIR)/.build/memcheck' '$(CURDIR)/.build/memcheck' '$(CURDIR)/.build/memcheck' > .build/memcheck/underfoot
	@chmod +x .build/memcheck/underfoot && ln -sf ../release/scene .build/memcheck/scene
	@OMP_NUM_THREADS=2 OMP_WAIT_POLICY=passive UF_BUILD_DIR=$(CURDIR)/.build/memcheck \
	  .build/release/tests/cli_tests --filter '$(MEMCHECK_TESTS)'

# Everything that is compared with published values and other libraries, by each instruction set that this processor has.
tiers: packages-test
	@$(MAKE) --no-print-directory tests BUILD=release
	@for tier in none avx2 all; do echo "== $$tier" && TIER=$$tier UF_BUILD_DIR=$(CURDIR)/.build/release \
	  .build/release/tests/truth_tests || exit 1; done

bench: packages-test
	@$(MAKE) --no-print-directory all $(OUT)/bench
	@$(OUT)/bench $(PROGRAM) $(OUT) $(TOPICS)

# SOAK_WIDTH, SOAK_KILLS; takes about twice as long as the tour itself, and a while for its scenes.
SOAK_WIDTH ?= 2048
SOAK_KILLS ?= 30
soak: packages-build
	@$(MAKE) --no-print-directory all $(SCENE)
	@sh tests/soak/soak.sh $(PROGRAM) $(SCENE) .build/soak $(SOAK_WIDTH) $(SOAK_KILLS)

demo: packages-build
	@echo "compiling (about a minute)"
	@$(MAKE) --no-print-directory --silent all $(SCENE)
	@sh samples/demo.sh $(PROGRAM) $(SCENE)

test: packages-test
	@$(MAKE) --no-print-directory tests BUILD=release
	@$(MAKE) --no-print-directory tests BUILD=asan
	@$(MAKE) --no-print-directory fuzzers BUILD=fuzz
	@sh tests/run.sh

lint: packages-lint
	printf '%s\n' $(LIBRARY_SOURCES) $(CLI_SOURCES) $(SCENE_SOURCES) $(wildcard src/manual/*.c) | xargs -P 2 -I{} \
	  clang-tidy --quiet {} -- -std=c11 -D_GNU_SOURCE -D_FILE_OFFSET_BITS=64 -Iinclude -Isrc -fopenmp $(LIB_CFLAGS)
	cppcheck --quiet -j 2 --std=c11 --enable=warning,performance,portability --error-exitcode=1 --inline-suppr \
	  -Iinclude -Isrc src samples/scene

format:
	clang-format -i $(wildcard include/underfoot/*.h src/*/*.[ch] tests/*/*.[ch] samples/scene/*.[ch])

install: all $(SHARED) $(MANUAL)
	sh src/packaging/install.sh $(OUT) $(VERSION) $(ABI) "$(DESTDIR)" "$(PREFIX)" "$(LIBDIR)"

deb: packages-build packages-package
	@$(MAKE) --no-print-directory all $(SHARED) $(MANUAL)
	sh src/packaging/deb.sh $(OUT) $(VERSION) $(ABI) .build

# What is committed, nothing else.
dist:
	@mkdir -p .build
	git archive --format=tar.gz --prefix=underfoot-$(VERSION)/ -o .build/underfoot-$(VERSION).tar.gz HEAD
	@echo .build/underfoot-$(VERSION).tar.gz

clean:
	rm -rf .build samples/out
