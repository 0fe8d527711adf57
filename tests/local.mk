# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
# All tests. A unit test is one line in unit_tests (its source is NAME.c), a script one line in script_tests.

unit_tests = \
  tests/fault/export_memory_test \
  tests/fault/history_memory_test \
  tests/fault/memory_test \
  tests/fault/planning_memory_test \
  tests/fault/weeks_memory_test \
  tests/unit/adjust/bounds_test \
  tests/unit/adjust/contacts_test \
  tests/unit/adjust/covariance_test \
  tests/unit/adjust/correlated_test \
  tests/unit/adjust/determinacy_test \
  tests/unit/adjust/direct_test \
  tests/unit/adjust/evidence_test \
  tests/unit/adjust/estimable_test \
  tests/unit/adjust/findings_test \
  tests/unit/adjust/mirrored_test \
  tests/unit/adjust/mixture_test \
  tests/unit/adjust/model_test \
  tests/unit/adjust/modes_test \
  tests/unit/adjust/noise_test \
  tests/unit/adjust/past_test \
  tests/unit/adjust/plausible_test \
  tests/unit/adjust/recovery_test \
  tests/unit/adjust/height_coverage_test \
  tests/unit/adjust/height_decide_test \
  tests/unit/adjust/height_evidence_test \
  tests/unit/adjust/heights_test \
  tests/unit/adjust/reentrant_test \
  tests/unit/adjust/reference_test \
  tests/unit/adjust/rivals_test \
  tests/unit/adjust/robust_test \
  tests/unit/adjust/select_test \
  tests/unit/adjust/symmetry_test \
  tests/unit/adjust/system_test \
  tests/unit/adjust/twin_test \
  tests/unit/adjust/uncertainty_test \
  tests/unit/adjust/unseen_test \
  tests/unit/adjust/verdict_test \
  tests/unit/adjust/views_test \
  tests/unit/app/solution_test \
  tests/unit/base/arena_test \
  tests/unit/base/buffer_test \
  tests/unit/base/decimal_test \
  tests/unit/base/distribution_test \
  tests/unit/base/named_test \
  tests/unit/base/number_test \
  tests/unit/base/status_test \
  tests/unit/base/sums_test \
  tests/unit/base/time_test \
  tests/unit/export/diff_test \
  tests/unit/export/edit_test \
  tests/unit/export/field_test \
  tests/unit/export/guard_test \
  tests/unit/export/learn_test \
  tests/unit/export/place_test \
  tests/unit/export/present_test \
  tests/unit/geometry/circle_test \
  tests/unit/geometry/line_test \
  tests/unit/geometry/pose_test \
  tests/unit/geometry/sketch_test \
  tests/unit/geometry/touch_test \
  tests/unit/history/changes_test \
  tests/unit/history/chart_test \
  tests/unit/history/compare_test \
  tests/unit/history/evidence_test \
  tests/unit/history/machine_test \
  tests/unit/history/naming_test \
  tests/unit/history/predict_test \
  tests/unit/history/response_test \
  tests/unit/history/rows_test \
  tests/unit/history/series_test \
  tests/unit/history/store_rows_test \
  tests/unit/history/store_test \
  tests/unit/history/tracks_test \
  tests/unit/ingest/bytes_test \
  tests/unit/ingest/controller_test \
  tests/unit/ingest/diagnose_test \
  tests/unit/ingest/json_test \
  tests/unit/ingest/machine_test \
  tests/unit/ingest/messages_test \
  tests/unit/ingest/names_test \
  tests/unit/ingest/plan_test \
  tests/unit/ingest/plate_test \
  tests/unit/formats/schema_test \
  tests/unit/ingest/result_test \
  tests/unit/ingest/run_csv_test \
  tests/unit/ingest/run_json_test \
  tests/unit/ingest/run_test \
  tests/unit/ingest/table_test \
  tests/unit/output/drawn_test \
  tests/unit/output/follow_test \
  tests/unit/output/json_test \
  tests/unit/output/markup_test \
  tests/unit/output/report_trend_test \
  tests/unit/output/sentences_test \
  tests/unit/output/text_test \
  tests/unit/output/units_test \
  tests/unit/output/weeks_test \
  tests/unit/output/words_test \
  tests/unit/placement/capability_test \
  tests/unit/placement/choose_test \
  tests/unit/placement/evidence_test \
  tests/unit/planning/design_test \
  tests/unit/planning/drawn_test \
  tests/unit/planning/view_design_test

# Tests that share a helper.
scene = tests/unit/adjust/scene.c tests/unit/adjust/scene_files.c
tests_unit_adjust_contacts_test_SOURCES = tests/unit/adjust/contacts_test.c $(scene)
tests_unit_adjust_covariance_test_SOURCES = tests/unit/adjust/covariance_test.c $(scene)
tests_unit_adjust_correlated_test_SOURCES = tests/unit/adjust/correlated_test.c $(scene)
tests_unit_adjust_determinacy_test_SOURCES = tests/unit/adjust/determinacy_test.c $(scene)
tests_unit_adjust_direct_test_SOURCES = tests/unit/adjust/direct_test.c $(scene)
tests_unit_adjust_evidence_test_SOURCES = tests/unit/adjust/evidence_test.c $(scene)
tests_unit_adjust_estimable_test_SOURCES = tests/unit/adjust/estimable_test.c $(scene)
tests_unit_adjust_findings_test_SOURCES = tests/unit/adjust/findings_test.c $(scene)
tests_unit_adjust_mirrored_test_SOURCES = tests/unit/adjust/mirrored_test.c $(scene)
tests_unit_adjust_model_test_SOURCES = tests/unit/adjust/model_test.c $(scene)
tests_unit_adjust_modes_test_SOURCES = tests/unit/adjust/modes_test.c $(scene)
tests_unit_adjust_past_test_SOURCES = tests/unit/adjust/past_test.c $(scene)
tests_unit_adjust_plausible_test_SOURCES = tests/unit/adjust/plausible_test.c $(scene)
tests_unit_adjust_recovery_test_SOURCES = tests/unit/adjust/recovery_test.c $(scene)
tests_unit_adjust_reentrant_test_SOURCES = tests/unit/adjust/reentrant_test.c $(scene)
tests_unit_adjust_select_test_SOURCES = tests/unit/adjust/select_test.c $(scene)
tests_unit_adjust_symmetry_test_SOURCES = tests/unit/adjust/symmetry_test.c $(scene)
tests_unit_adjust_twin_test_SOURCES = tests/unit/adjust/twin_test.c $(scene)
tests_unit_adjust_unseen_test_SOURCES = tests/unit/adjust/unseen_test.c $(scene)
tests_unit_adjust_verdict_test_SOURCES = tests/unit/adjust/verdict_test.c $(scene)
tests_unit_planning_drawn_test_SOURCES = tests/unit/planning/drawn_test.c $(scene)
tests_unit_output_drawn_test_SOURCES = tests/unit/output/drawn_test.c $(scene)

# Requests for memory pass through the test, which can fail them.
tests_fault_export_memory_test_LDFLAGS = $(AM_LDFLAGS) -Wl,--wrap=malloc,--wrap=calloc,--wrap=realloc,--wrap=tt_arena_get
tests_fault_history_memory_test_LDFLAGS = $(tests_fault_memory_test_LDFLAGS)
tests_fault_memory_test_LDFLAGS = $(AM_LDFLAGS) -Wl,--wrap=malloc,--wrap=calloc,--wrap=realloc,--wrap=tt_arena_get
tests_fault_planning_memory_test_LDFLAGS = $(tests_fault_memory_test_LDFLAGS)
tests_fault_weeks_memory_test_LDFLAGS = $(tests_fault_memory_test_LDFLAGS)

# The longest one begins first, so that it is not left alone at the end.
longest_test = tests/fault/oom.py
script_tests = \
  tests/cli/check.sh \
  tests/cli/board.py \
  tests/cli/complete.py \
  tests/cli/daily.py \
  tests/cli/dialects.py \
  tests/cli/errors.py \
  tests/cli/export.py \
  tests/cli/files.py \
  tests/cli/find.py \
  tests/cli/heights.py \
  tests/cli/heights_export.py \
  tests/cli/heights_plan.py \
  tests/cli/heights_simulate.py \
  tests/cli/views_export.py \
  tests/cli/views_plan.py \
  tests/cli/hostile.py \
  tests/cli/loop.sh \
  tests/cli/leverage.py \
  tests/cli/man.sh \
  tests/cli/placement.py \
  tests/cli/plan.sh \
  tests/cli/readme.sh \
  tests/cli/joined.py \
  tests/cli/keys.py \
  tests/cli/ready.py \
  tests/cli/schema.py \
  tests/cli/solve.sh \
  tests/cli/streams.sh \
  tests/cli/together.py \
  tests/cli/units.py \
  tests/cli/usage.sh \
  tests/fault/export_faults.py \
  tests/fault/inputs.py \
  tests/fault/limits.py \
  tests/field/expected.py \
  tests/fuzz/replay.sh \
  tests/planning/accepted.py \
  tests/planning/after.py \
  tests/planning/agreement.py \
  tests/planning/even.py \
  tests/planning/fewest.py \
  tests/planning/program.py \
  tests/planning/rehearsal.sh \
  tests/planning/simulated.py \
  tests/planning/truth_back.py \
  tests/history/boards.py \
  tests/history/damage.py \
  tests/history/exports.py \
  tests/history/film.py \
  tests/history/history.sh \
  tests/history/machine.py \
  tests/history/reach.py \
  tests/history/tracks.py \
  tests/history/size.py \
  tests/history/writers.py \
  tests/history/weeks.py \
  tests/reference/scipy_check.py \
  tests/reference/views_check.py \
  tests/regression/regression.py \
  tests/report/above.py \
  tests/report/board.py \
  tests/report/documents.py \
  tests/report/looks.py \
  tests/report/pages.py \
  tests/report/renderers.py \
  tests/report/units.py \
  tests/simulation/agreement.py \
  tests/simulation/layouts.py \
  tests/simulation/mistakes.py \
  tests/simulation/joined.py \
  tests/simulation/camera_mistakes.py \
  tests/simulation/placement.py \
  tests/simulation/quick.py \
  tests/simulation/quick_faults.py \
  tests/simulation/silent.py \
  tests/simulation/weeks.py \
  tests/style/hardened.sh \
  tests/style/symbols.sh

# Tests of the sources, to which it does not matter what is built of them: a build with sanitizers leaves them to the plain one.
source_tests = \
  tests/style/budget.py \
  tests/style/headers.sh \
  tests/style/includes.py \
  tests/style/sentences.py \
  tests/style/text.py

# Fuzz targets: without a fuzzer they replay inputs, which tests/fuzz/replay.sh does with the corpus.
fuzz_targets = tests/fuzz/fuzz_archive tests/fuzz/fuzz_config tests/fuzz/fuzz_file tests/fuzz/fuzz_history \
  tests/fuzz/fuzz_plate tests/fuzz/fuzz_result tests/fuzz/fuzz_run tests/fuzz/fuzz_solve tests/fuzz/fuzz_words
tests_fuzz_fuzz_archive_LDFLAGS = $(AM_LDFLAGS) $(FUZZ_LDFLAGS)
tests_fuzz_fuzz_config_LDFLAGS = $(AM_LDFLAGS) $(FUZZ_LDFLAGS)
tests_fuzz_fuzz_file_LDFLAGS = $(AM_LDFLAGS) $(FUZZ_LDFLAGS)
tests_fuzz_fuzz_history_LDFLAGS = $(AM_LDFLAGS) $(FUZZ_LDFLAGS)
tests_fuzz_fuzz_plate_LDFLAGS = $(AM_LDFLAGS) $(FUZZ_LDFLAGS)
tests_fuzz_fuzz_result_LDFLAGS = $(AM_LDFLAGS) $(FUZZ_LDFLAGS)
tests_fuzz_fuzz_run_LDFLAGS = $(AM_LDFLAGS) $(FUZZ_LDFLAGS)
tests_fuzz_fuzz_solve_LDFLAGS = $(AM_LDFLAGS) $(FUZZ_LDFLAGS)
tests_fuzz_fuzz_words_LDFLAGS = $(AM_LDFLAGS) $(FUZZ_LDFLAGS)

# Fills a history and times it: tests/history/size.py.
check_helpers = tests/history/fill_history tests/simulation/changes tests/simulation/heights tests/simulation/views
tests_simulation_views_SOURCES = tests/simulation/views.c tests/simulation/view_runs.h
tests_simulation_heights_SOURCES = tests/simulation/heights.c tests/simulation/height_runs.h
tests_simulation_changes_SOURCES = tests/simulation/changes.c
tests_history_fill_history_SOURCES = tests/history/fill_history.c

test_data = \
  tests/cli \
  tests/data \
  tests/field \
  tests/fault/commands.py \
  tests/fault/sites.h \
  tests/fault/starve.h \
  tests/fault/attribute.c \
  tests/fault/oom.c \
  tests/fault/stumble.c \
  tests/fuzz/as_file.h tests/fuzz/bench.h tests/fuzz/corpus tests/fuzz/dictionary.py tests/fuzz/long.sh tests/fuzz/replay.h \
  tests/mutation \
  tests/planning \
  tests/reference \
  tests/regression \
  tests/release \
  tests/report \
  tests/simulation \
  tests/speed \
  tests/style/budget.list \
  tests/unit/adjust/drawn.h \
  tests/unit/adjust/evidence.txt \
  tests/unit/adjust/height_evidence.txt \
  tests/unit/adjust/height_mixed.txt \
  tests/unit/adjust/mixed.txt \
  tests/unit/adjust/past.txt \
  tests/unit/adjust/past_mixed.txt \
  tests/unit/adjust/past_sizes.txt \
  tests/unit/adjust/scene.h \
  tests/unit/adjust/select.txt \
  tests/unit/adjust/views.txt \
  tests/unit/adjust/views_mixed.txt \
  tests/unit/formats/keys.txt \
  tests/cli/export_said.txt \
  tests/unit/history/bench_store.h \
  tests/unit/history/evidence.txt \
  tests/unit/history/mixed.txt \
  tests/unit/history/said.txt \
  tests/unit/history/weeks.h \
  tests/unit/ingest/collect.h \
  tests/unit/output/sample.h \
  tests/unit/output/drawings.h \
  tests/unit/output/drawn.txt \
  tests/unit/placement/evidence.txt \
  tests/unit/placement/mixed.txt \
  tests/unit/placement/moved.txt \
  tests/unit/placement/said.txt \
  tests/unit/planning/drawn.txt \
  tests/unit/recorded.h \
  tests/unit/output/one-tip.txt \
  tests/unit/output/two-tips.txt

EXTRA_DIST += $(longest_test) $(script_tests) $(source_tests) $(test_data) tests/README.md tests/coverage.py tests/driver.sh \
  tests/package.sh tests/packages.sh tests/run.sh \
  tests/recorded.py \
  tests/tally.py

# Folders are distributed whole; what a build in the source directory left in them is not data.
dist-hook:
	for test in $(longest_test) $(script_tests) $(source_tests); do \
	  rm -f "$(distdir)/$${test%.*}.log" "$(distdir)/$${test%.*}.trs"; done
	find "$(distdir)" -name __pycache__ -prune -exec rm -rf {} +

TEST_EXTENSIONS = .sh .py
LOG_DRIVER = $(SHELL) $(srcdir)/tests/driver.sh
SH_LOG_DRIVER = $(LOG_DRIVER)
SH_LOG_COMPILER = $(SHELL)
PY_LOG_DRIVER = $(LOG_DRIVER)
PY_LOG_COMPILER = $(PYTHON)

# What a test may read from the environment. Its working directory is builddir; source files are found by srcdir.
AM_TESTS_ENVIRONMENT = \
  srcdir='$(srcdir)'; export srcdir; \
  builddir='$(abs_builddir)'; export builddir; \
  TIPTRUE='$(abs_builddir)/tiptrue$(EXEEXT)'; export TIPTRUE; \
  PYTHON='$(PYTHON)'; export PYTHON; \
  HARDENING='$(HARDEN_CPPFLAGS) $(HARDEN_CFLAGS) $(HARDEN_LDFLAGS)'; export HARDENING; \
  PREFIX_MAP='$(MAP_CFLAGS)'; export PREFIX_MAP; \
  PYTHONDONTWRITEBYTECODE=1; export PYTHONDONTWRITEBYTECODE; \
  CC='$(CC)'; export CC; \
  TEST_CPPFLAGS='$(DEFS) $(DEFAULT_INCLUDES) $(AM_CPPFLAGS) $(CPPFLAGS)'; export TEST_CPPFLAGS; \
  TEST_CFLAGS='$(AM_CFLAGS) $(CFLAGS)'; export TEST_CFLAGS; \
  CK_DEFAULT_TIMEOUT=120; export CK_DEFAULT_TIMEOUT; \
  LC_ALL=C; export LC_ALL;

if TESTS_POSSIBLE
check_PROGRAMS += $(unit_tests) $(fuzz_targets) $(check_helpers)
TESTS += $(longest_test) $(unit_tests) $(script_tests)
if !SANITIZED
TESTS += $(source_tests)
endif
else
check-local:
	@echo "make check: needs Check, and a python3 with scipy and jsonschema" >&2
	@echo "  hint: Debian: apt-get install check python3-scipy python3-jsonschema, then run configure again" >&2
	@exit 1
endif

# For the unit tests (the program and the library name their own libraries).
LDADD = libcore.la $(CHECK_LIBS)
AM_CPPFLAGS += -I$(srcdir)/tests/unit $(CHECK_CFLAGS)

# A host program against what was installed.
EXTRA_DIST += tests/install/host.c
CLEANFILES += tests/install/host$(EXEEXT)
# fetched where AXE_CORE names none
DISTCLEANFILES = axe.min.js
installcheck-local:
	$(AM_V_CCLD)$(MKDIR_P) tests/install && \
	  PKG_CONFIG_SYSROOT_DIR='$(DESTDIR)' PKG_CONFIG_PATH='$(DESTDIR)$(pkgconfigdir)' && \
	  export PKG_CONFIG_SYSROOT_DIR PKG_CONFIG_PATH && \
	  $(CC) $(AM_CFLAGS) $(CFLAGS) -o tests/install/host$(EXEEXT) $(srcdir)/tests/install/host.c \
	    `$(PKG_CONFIG) --cflags --libs tiptrue`
	LD_LIBRARY_PATH='$(DESTDIR)$(libdir)' tests/install/host$(EXEEXT) '$(PACKAGE_VERSION)'

# The time of a whole solve beside other programs, and the statistics of many simulated runs: too long for make check.
bench: all
	$(AM_TESTS_ENVIRONMENT) $(PYTHON) $(srcdir)/tests/speed/bench.py $${ROUNDS:+--rounds $$ROUNDS} $$PARTS

check-statistics: all
	@test -n '$(PYTHON)' || { echo "make check-statistics: needs a python3 with scipy; then run configure again" >&2; exit 1; }
	$(AM_TESTS_ENVIRONMENT) \
	  $(PYTHON) $(srcdir)/tests/simulation/check_statistics.py $${RUNS:+--runs $$RUNS} $${SEED:+--seed $$SEED} && \
	  $(PYTHON) $(srcdir)/tests/planning/agreement.py 2000 && $(PYTHON) $(srcdir)/tests/planning/truth_back.py 1000 && \
	  $(PYTHON) $(srcdir)/tests/planning/after.py --time
	$(AM_TESTS_ENVIRONMENT) cd $(srcdir) && srcdir=. && export srcdir && for tool in 'agreement.py 4000' \
	  "trials.py --tips 1,3 --stated no,yes $${RUNS:+--runs $$RUNS}" hazard.py mislabels.py designs.py; do \
	    $(PYTHON) tests/simulation/$$tool || exit 1; done
	$(AM_TESTS_ENVIRONMENT) $(PYTHON) $(srcdir)/tests/simulation/camera_mistakes.py --plates 200 --runs 5
	$(MAKE) $(AM_MAKEFLAGS) tests/simulation/changes$(EXEEXT) && tests/simulation/changes$(EXEEXT) $${SERIES:-300}
	$(MAKE) $(AM_MAKEFLAGS) tests/simulation/heights$(EXEEXT) && tests/simulation/heights$(EXEEXT) 5000
	$(MAKE) $(AM_MAKEFLAGS) tests/simulation/views$(EXEEXT) && tests/simulation/views$(EXEEXT) 5000

# The history at its promised size: 100 000 runs (2 GB in the folder for temporary files), 8 processes at once, 200 killed writers.
# Every change of every input; each fuzz target for 30 s.
check-long: all
	$(MAKE) $(AM_MAKEFLAGS) $(check_helpers)
	$(AM_TESTS_ENVIRONMENT) RUNS=100000 $(PYTHON) $(srcdir)/tests/history/size.py
	$(AM_TESTS_ENVIRONMENT) BIRTHS=100 PROCESSES=8 RUNS=500 KILLS=200 $(PYTHON) $(srcdir)/tests/history/writers.py
	$(AM_TESTS_ENVIRONMENT) $(PYTHON) $(srcdir)/tests/simulation/layouts.py --runs 3000 --seed $${SEED:-11}
	$(AM_TESTS_ENVIRONMENT) $(PYTHON) $(srcdir)/tests/simulation/mistakes.py --designs 60
	$(AM_TESTS_ENVIRONMENT) CELLS= HISTORIES=300 $(PYTHON) $(srcdir)/tests/simulation/weeks.py
	$(AM_TESTS_ENVIRONMENT) CASES=0 $(PYTHON) $(srcdir)/tests/fault/inputs.py
	$(AM_TESTS_ENVIRONMENT) WHOLE=yes $(PYTHON) $(srcdir)/tests/fault/oom.py
	$(AM_TESTS_ENVIRONMENT) WHOLE=yes $(PYTHON) $(srcdir)/tests/history/damage.py
	$(SHELL) $(srcdir)/tests/fuzz/long.sh

# What needs large tools of others, before a release: Debian's linuxcnc-uspace for its interpreter of motion programs;
# python3-opencv for its affine estimate; inkscape; clang and cppcheck; ajv by npm; debhelper, lintian and debootstrap for the
# packages and for a 32-bit root (from a clone, as root).
check-release: all
	$(AM_TESTS_ENVIRONMENT) $(PYTHON) $(srcdir)/tests/planning/rs274.py
	$(AM_TESTS_ENVIRONMENT) $(PYTHON) $(srcdir)/tests/reference/opencv_check.py
	$(SHELL) $(srcdir)/tests/packages.sh inkscape
	$(AM_TESTS_ENVIRONMENT) $(PYTHON) $(srcdir)/tests/report/renderers.py inkscape
	$(SHELL) $(srcdir)/tests/release/schemas.sh
	$(SHELL) $(srcdir)/tests/release/clang.sh
	$(SHELL) $(srcdir)/tests/release/analyzers.sh
	$(SHELL) $(srcdir)/tests/release/i386.sh
	$(SHELL) $(srcdir)/tests/package.sh

# Lines and branches of src that the tests reach; in a build of configure --enable-coverage. FLAGS: --files, --missed.
coverage: all
	find . -name '*.gcda' -exec rm -f {} +
	-$(MAKE) $(AM_MAKEFLAGS) check
	$(AM_TESTS_ENVIRONMENT) $(PYTHON) $(srcdir)/tests/coverage.py $$FLAGS

# Faults planted in the source, one at a time: do the tests find them?
mutation: all
	$(AM_TESTS_ENVIRONMENT) \
	  MUTATION_LIBS='$(CHECK_LIBS) $(core_libs) $(ARGP_LIBS) -lm'; \
	  MUTATION_TESTS='$(TESTS)'; \
	  export MUTATION_LIBS MUTATION_TESTS; \
	  $(PYTHON) $(srcdir)/tests/mutation/mutation.py --faults $${FAULTS:-400} --seed $${SEED:-1} \
	    $${AGAIN:+--again $$AGAIN} $$ROOMS

# Simulated runs that were outside a bound.
mostlyclean-local:
	rm -rf mutation statistics-failed

.PHONY: bench check-long check-release check-statistics coverage mutation
