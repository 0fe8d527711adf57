#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
set -e
tiptrue ready --write --quiet "$@"
exec ./start-job
