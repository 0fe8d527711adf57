# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
# All sources, room by room. A new file is one line here.

core_libs = $(GSL_LIBS) $(CJSON_LIBS) $(PCRE2_LIBS) $(SQLITE_LIBS) $(DL_LIBS) $(PTHREAD_LIBS)

# Everything but the program's own files, not installed: the program and the unit tests link it, so that tests reach tt_ names.
noinst_LTLIBRARIES += libcore.la
libcore_la_LIBADD = $(core_libs)
libcore_la_SOURCES = \
  src/app/solved.c src/app/solved.h \
  src/app/library.c src/tiptrue.h src/tiptrue_base.h src/tiptrue_daily.h src/tiptrue_board.h src/tiptrue_tools.h \
  src/tiptrue_units.h \
  src/app/between.c src/app/revive.c src/app/revive.h src/app/weeks.c src/app/weeks.h \
  src/app/history.c \
  src/app/boards.c \
  src/app/history_out.c \
  src/app/history_care.c src/app/history_care.h \
  src/app/files.c \
  src/app/import.c \
  src/app/present.c \
  src/app/ready.c \
  src/app/ready_judge.c \
  src/app/ready.h \
  src/app/report.c \
  src/app/placement.c \
  src/app/verify.c \
  src/base/arena.c src/base/arena.h \
  src/base/buffer.c src/base/buffer.h \
  src/base/cholesky.c src/base/cholesky.h \
  src/base/decimal.c src/base/decimal.h \
  src/base/digest.c src/base/digest.h \
  src/base/distribution.c src/base/distribution.h \
  src/base/named.c src/base/named.h \
  src/base/number.c src/base/number.h \
  src/base/order.c src/base/order.h \
  src/base/random.c src/base/random.h \
  src/base/status.c src/base/status.h \
  src/base/sums.h \
  src/base/time.c src/base/time.h \
  src/base/utf8.c src/base/utf8.h \
  src/formats/keys.c src/formats/keys.h \
  src/formats/machine.c src/formats/motion.c \
  src/formats/plan.c src/formats/plate.c src/formats/record.c \
  src/formats/result.c src/formats/result.h src/formats/result_tip.c src/formats/rows.h \
  src/formats/truth.c \
  src/model/between.h \
  src/model/board.h \
  src/model/comparison.h \
  src/model/finding.c src/model/finding.h \
  src/model/frames.h \
  src/model/machine.c src/model/machine.h \
  src/model/joined.h \
  src/model/placement.c src/model/placement.h \
  src/model/plan.h \
  src/model/plate.h \
  src/model/proposal.h \
  src/model/ready.h \
  src/model/record.c src/model/record.h \
  src/model/ends.c src/model/run.h \
  src/model/series.h \
  src/model/sketch.h \
  src/model/trend.h \
  src/model/solution.c src/model/solution.h \
  src/model/words.c src/model/words.h \
  src/model/truth.h \
  src/model/weeks.h \
  src/ingest/archive.c src/ingest/archive.h \
  src/ingest/board.c \
  src/ingest/board_metadata.c src/ingest/board_metadata.h \
  src/ingest/builder.c src/ingest/builder.h \
  src/ingest/bytes.c src/ingest/bytes.h \
  src/ingest/controller.c \
  src/ingest/cells.c src/ingest/cells.h \
  src/ingest/diagnose.c src/ingest/diagnose.h \
  src/ingest/keys_read.c \
  src/ingest/fields.c src/ingest/fields.h \
  src/ingest/formats.h \
  src/ingest/head.c \
  src/ingest/ingest.h \
  src/ingest/json.c src/ingest/json.h \
  src/ingest/json_scan.c \
  src/ingest/machine.c \
  src/ingest/metadata.c \
  src/ingest/names.c src/ingest/names.h \
  src/ingest/parting.c \
  src/ingest/pattern.c src/ingest/pattern.h \
  src/ingest/plan.c \
  src/ingest/plate.c \
  src/ingest/join.c \
  src/ingest/repeats.c src/ingest/repeats.h \
  src/ingest/report.c src/ingest/report.h \
  src/ingest/result.c src/ingest/result.h src/ingest/result_findings.c src/ingest/result_tip.c \
  src/ingest/rows.c src/ingest/rows.h \
  src/ingest/run.c \
  src/ingest/run_csv.c \
  src/ingest/run_json.c \
  src/ingest/table.c src/ingest/table.h \
  src/ingest/truth.c \
  src/ingest/units.c src/ingest/units.h \
  src/export/backup.c \
  src/export/edit.c src/export/edit.h \
  src/export/export.c src/export/export.h \
  src/export/export_parts.h \
  src/export/export_plan.c \
  src/export/exported.c src/export/exported.h \
  src/export/field.c src/export/field.h \
  src/export/field_value.c src/export/field_value.h \
  src/export/guard.c src/export/guard.h \
  src/export/place.c src/export/place.h src/export/place_kinds.h src/export/place_said.c \
  src/export/place_json.c \
  src/export/place_lines.c \
  src/export/place_pattern.c \
  src/export/place_xml.c \
  src/export/present.c \
  src/export/learn.c \
  src/export/own.c src/export/own.h \
  src/export/replace.c src/export/replace.h src/export/replace_parts.h \
  src/export/target.c \
  src/export/undo.c \
  src/export/template.c \
  src/export/xml_library.c src/export/xml_library.h \
  src/export/xml_scan.c src/export/xml_scan.h \
  src/geometry/circle.c src/geometry/circle.h \
  src/geometry/line.c src/geometry/line.h \
  src/geometry/points.c src/geometry/points.h \
  src/geometry/pose.c src/geometry/pose.h \
  src/geometry/sketch.c src/geometry/sketch.h \
  src/geometry/touch.c src/geometry/touch.h \
  src/adjust/adjust.c src/adjust/adjust.h \
  src/adjust/alone.c \
  src/adjust/climb.c \
  src/adjust/starts.c \
  src/adjust/change_rows.c \
  src/adjust/filmed.c \
  src/adjust/ambiguous.c \
  src/adjust/assemble.c src/adjust/assemble.h src/adjust/assemble_views.c \
  src/adjust/check.h \
  src/adjust/complete.c \
  src/adjust/contacts.c \
  src/adjust/depths.c src/adjust/depths.h \
  src/adjust/determinacy.c \
  src/adjust/decide.c \
  src/adjust/difference.c src/adjust/difference.h \
  src/adjust/direct.c src/adjust/direct.h src/adjust/direct_circle.c \
  src/adjust/doubt.c \
  src/adjust/estimable.c src/adjust/estimable.h src/adjust/estimable_functions.c src/adjust/estimable_parts.h \
  src/adjust/explain.c src/adjust/explain.h src/adjust/explain_parts.h \
  src/adjust/finding_add.c src/adjust/finding_add.h \
  src/adjust/findings.c src/adjust/findings.h \
  src/adjust/correlated.c src/adjust/correlated.h \
  src/adjust/heights.c src/adjust/heights.h src/adjust/height_rows.c \
  src/adjust/height_model.c src/adjust/height_model.h src/adjust/height_sets.c \
  src/adjust/height_sets.h src/adjust/height_score.c src/adjust/height_search.c src/adjust/height_search.h \
  src/adjust/height_decide.c src/adjust/height_pool.h \
  src/adjust/height_findings.c src/adjust/height_doubts.c src/adjust/height_worth.c src/adjust/height_table.c src/adjust/mixture.h \
  src/adjust/held.c src/adjust/held.h src/adjust/reach.c \
  src/adjust/fit.c src/adjust/fit.h src/adjust/fit_parts.h \
  src/adjust/limits.c \
  src/adjust/linearise.c \
  src/adjust/model.c src/adjust/model.h \
  src/adjust/mirrored.c src/adjust/mirrored.h \
  src/adjust/model_findings.c \
  src/adjust/modes.c src/adjust/modes.h src/adjust/modes_axes.c \
  src/adjust/modes_changes.c src/adjust/modes_odds.c src/adjust/modes_parts.h \
  src/adjust/monte_carlo.c src/adjust/monte_carlo.h \
  src/adjust/near.c \
  src/adjust/past.c src/adjust/past_offsets.c src/adjust/past_offsets.h \
  src/adjust/plausible.c src/adjust/plausible.h \
  src/adjust/plausible_change.c \
  src/adjust/plausible_log.c \
  src/adjust/plausible_statements.c \
  src/adjust/robust.c src/adjust/robust.h src/adjust/robust_start.c \
  src/adjust/rows.c \
  src/adjust/select.c src/adjust/select.h \
  src/adjust/shares.c src/adjust/shares.h \
  src/adjust/sightings.c \
  src/adjust/spent.c \
  src/adjust/system.c src/adjust/system.h \
  src/adjust/unseen.c src/adjust/unseen.h \
  src/adjust/respond.c src/adjust/respond.h \
  src/adjust/terms.c \
  src/adjust/uncertainty.c src/adjust/uncertainty.h \
  src/adjust/units.c \
  src/adjust/verdict.c \
  src/adjust/view_findings.c \
  src/adjust/views.c src/adjust/views.h src/adjust/views_fit.c \
  src/placement/angles.c \
  src/placement/board_terms.c src/placement/board_terms.h \
  src/placement/capability.c \
  src/placement/choose.c src/placement/choose.h \
  src/placement/board_design.c src/placement/board_design.h \
  src/placement/findings.c \
  src/placement/join.c \
  src/placement/order.c \
  src/placement/board_fit.c src/placement/board_fit.h \
  src/placement/placement.c src/placement/placement.h \
  src/placement/reading.c \
  src/placement/robust.c \
  src/placement/since.c \
  src/placement/terms.c src/placement/terms.h \
  src/placement/test_board.c \
  src/placement/values.c \
  src/placement/work.h \
  src/planning/candidates.c \
  src/planning/design.c src/planning/design.h \
  src/planning/simulate_parts.c src/planning/simulate_parts.h \
  src/planning/from_above.c src/planning/from_above.h \
  src/planning/view_design.c src/planning/view_design.h \
  src/planning/draw.c \
  src/planning/next.c \
  src/planning/order.c \
  src/planning/choose.c src/planning/choose.h src/planning/plan.c src/planning/plan.h \
  src/planning/program_check.c src/planning/program_parts.h \
  src/planning/program.c src/planning/program.h \
  src/planning/propose.c src/planning/propose.h \
  src/planning/picture.c src/planning/picture.h \
  src/planning/resolve.c src/planning/resolve.h \
  src/planning/engine.c src/planning/scene.c src/planning/scene.h \
  src/planning/simulate.c \
  src/history/series/chart.c src/history/series/chart.h \
  src/history/series/compare.c src/history/series/compare.h \
  src/history/series/series.c src/history/series/series.h \
  src/history/series/signals.c \
  src/history/series/machine_events.c \
  src/history/series/naming.c \
  src/history/series/changes.c src/history/series/changes.h \
  src/history/series/changes_parts.h \
  src/history/series/forecast.c src/history/series/latest.c \
  src/history/series/edges.c src/history/series/edges.h \
  src/history/series/predict.c \
  src/history/series/questions.c src/history/series/rivals.c src/history/series/smooth.c \
  src/history/series/choose.c src/history/series/descent.c \
  src/history/series/events.c \
  src/history/series/gls.c src/history/series/gls.h \
  src/history/series/noise.c src/history/series/noise.h \
  src/history/series/noise_parts.h src/history/series/noise_residuals.c \
  src/history/series/prices.c src/history/series/problem.c src/history/series/problem.h \
  src/history/series/search.h \
  src/history/series/segment.c \
  src/history/series/select.c \
  src/history/series/values.c src/history/series/values.h \
  src/history/series/values_digest.c \
  src/history/series/views.c \
  src/history/series/tracks.c src/history/series/tracks.h \
  src/history/series/trend.c src/history/series/trend.h \
  src/history/store/boards.c \
  src/history/store/check.c \
  src/history/store/newest.c src/history/store/newest.h \
  src/history/store/past.c \
  src/history/store/put.c \
  src/history/store/read.c \
  src/history/store/response.c src/history/store/response.h \
  src/history/store/say.c \
  src/history/store/schema.c src/history/store/schema.h \
  src/history/store/sql.c src/history/store/sql.h \
  src/history/store/store.c src/history/store/store.h \
  src/history/store/summary.c src/history/store/summary.h \
  src/history/store/summary_columns.c src/history/store/summary_columns.h \
  src/history/store/verify.c \
  src/output/again.c \
  src/output/check.c \
  src/output/compare.c \
  src/output/history.c src/output/history.h \
  src/output/json/json.c \
  src/output/json/json_result.h \
  src/output/json/keys_write.c \
  src/output/json/json_write.c src/output/json/json_write.h \
  src/output/output.h \
  src/output/page.c src/output/page.h \
  src/output/report/plate_view.c \
  src/output/units.c src/output/units.h \
  src/output/proposal.c \
  src/output/run_log.c \
  src/output/report/markup.c src/output/report/markup.h \
  src/output/report/picture.c src/output/report/picture.h \
  src/output/report/picture_board.c src/output/report/report_board.c \
  src/output/report/picture_budget.c \
  src/output/report/picture_height.c \
  src/output/report/picture_order.c \
  src/output/report/picture_plate.c \
  src/output/report/picture_rows.c \
  src/output/report/picture_surface.c \
  src/output/report/picture_time.c \
  src/output/report/picture_tip.c \
  src/output/report/picture_track.c src/output/report/pictures.h \
  src/output/report/picture_views.c \
  src/output/report/picture_marks.c \
  src/output/report/picture_weeks.c \
  src/output/report/report.c src/output/report/report.h \
  src/output/report/report_trend.c \
  src/output/report/report_words.c \
  src/output/report/scale.c src/output/report/scale.h \
  src/output/text/fill.c \
  src/output/text/follow.c src/output/text/follow.h \
  src/output/text/plan_text.c \
  src/output/text/template.c src/output/text/template.h \
  src/output/text/words.c src/output/text/words.h \
  src/output/json/placement_json.c \
  src/output/json/test_board_json.c \
  src/output/text/placement_sentences.c \
  src/output/text/placement_text.c src/output/text/placement_text.h \
  src/output/text/test_board_text.c \
  src/output/text/sentences_machine.c \
  src/output/text/sentences.c src/output/text/sentences.h \
  src/output/report/style.c \
  src/output/json/ready.c src/output/text/ready.c \
  src/output/text/text.c \
  src/output/text/text_parts.h \
  src/output/text/text_camera.c \
  src/output/text/text_heights.c src/output/text/height_sentences.c \
  src/output/text/text_rows.c \
  src/output/text/text_run.c \
  src/output/text/text_unseen.c \
  src/output/text/text_why.c \
  src/output/text/text_strips.c \
  src/output/text/text_table.c \
  src/output/text/text_tip.c \
  src/output/text/text_trials.c \
  src/output/text/trend_chart.c src/output/text/trend_drifts.c \
  src/output/json/trend_json.c \
  src/output/text/trend_sentences.c \
  src/output/text/trend_text.c \
  src/output/trend_words.c src/output/trend_words.h \
  src/output/verdict.c src/output/verdict.h

# What is installed: the same objects, only the names of tiptrue.h exported.
# version-info: current:revision:age, see «Updating library version information» in the libtool manual.
lib_LTLIBRARIES += libtiptrue.la
libtiptrue_la_SOURCES =
libtiptrue_la_LIBADD = libcore.la $(core_libs)
libtiptrue_la_LDFLAGS = $(AM_LDFLAGS) -no-undefined -version-info 0:0:0 -export-symbols-regex '^tiptrue_'
include_HEADERS += src/tiptrue.h src/tiptrue_base.h src/tiptrue_daily.h src/tiptrue_board.h src/tiptrue_tools.h src/tiptrue_units.h

# The program: its files see only the public interface, and link the objects themselves, so that it starts without looking for
# the library.
bin_PROGRAMS += tiptrue
tiptrue_SOURCES = \
  src/cli/batch.c src/cli/batch.h \
  src/cli/check.c \
  src/cli/command.h \
  src/cli/export.c \
  src/cli/find.c src/cli/find.h \
  src/cli/compare.c \
  src/cli/completion.c \
  src/cli/new.c \
  src/cli/history.c src/cli/history_common.c src/cli/history.h \
  src/cli/history_import.c \
  src/cli/history_say.c \
  src/cli/history_show.c \
  src/cli/inputs.c src/cli/inputs.h \
  src/cli/main.c \
  src/cli/messages.c src/cli/messages.h \
  src/cli/options.c src/cli/options.h \
  src/cli/placement.c \
  src/cli/plan.c \
  src/cli/simulate.c \
  src/cli/ready.c src/cli/ready.h \
  src/cli/ready_files.c \
  src/cli/report.c \
  src/cli/solve.c \
  src/cli/terminal.c src/cli/terminal.h \
  src/cli/trend.c
tiptrue_LDADD = libcore.la $(ARGP_LIBS)

# What the shells complete by, written by the program that was just built.
bashcompletiondir = $(datadir)/bash-completion/completions
zshcompletiondir = $(datadir)/zsh/site-functions
fishcompletiondir = $(datadir)/fish/vendor_completions.d
nodist_bashcompletion_DATA = completions/tiptrue
nodist_zshcompletion_DATA = completions/_tiptrue
nodist_fishcompletion_DATA = completions/tiptrue.fish
completions/tiptrue: tiptrue$(EXEEXT)
	$(AM_V_GEN)$(MKDIR_P) completions && ./tiptrue$(EXEEXT) completion bash >$@.new && mv $@.new $@
completions/_tiptrue: tiptrue$(EXEEXT)
	$(AM_V_GEN)$(MKDIR_P) completions && ./tiptrue$(EXEEXT) completion zsh >$@.new && mv $@.new $@
completions/tiptrue.fish: tiptrue$(EXEEXT)
	$(AM_V_GEN)$(MKDIR_P) completions && ./tiptrue$(EXEEXT) completion fish >$@.new && mv $@.new $@
CLEANFILES += completions/tiptrue completions/_tiptrue completions/tiptrue.fish
