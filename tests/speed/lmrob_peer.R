# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
# The same runs by lmrob of R's package robustbase: Rscript lmrob_peer.R FOLDER RUN...
#
# lmrob takes a linear regression without priors, so the pose is found first, by least squares from the sightings, and held: then
# the touch equation is linear in offset, runout and radius. What the shifts of four walls do beyond that is one more column, by
# which the slot is wider than it is high. A smaller model than the other programs solve, and its u is that of the touches alone.
# Prints a line for each run: name, offset x, y, u of x, y, seconds of lmrob alone. FOLDER is one of make_runs.py.
suppressPackageStartupMessages(library(robustbase))

read_model <- function(folder) {
    words <- strsplit(readLines(file.path(folder, "model.txt")), " ")
    key <- vapply(words, `[`, "", 1)
    table_of <- function(name) {
        rows <- words[key == name]
        values <- t(vapply(rows, function(w) as.numeric(w[-(1:2)]), numeric(length(rows[[1]]) - 2)))
        rownames(values) <- vapply(rows, `[`, "", 2)
        values
    }
    list(marks = table_of("mark"), edges = table_of("edge"))
}

# The rotation and shift that carry the marks to where they were seen.
pose_of <- function(at, seen) {
    a <- complex(real = at[, 1], imaginary = at[, 2])
    s <- complex(real = seen$x, imaginary = seen$y)
    turn <- sum(Conj(a - mean(a)) * (s - mean(s)))
    turn <- turn / Mod(turn)
    list(turn = turn, mark = mean(s) - turn * mean(a))
}

solve_run <- function(model, path) {
    rows <- read.csv(path, comment.char = "#", stringsAsFactors = FALSE)
    sights <- rows[rows$kind == "sight", ]
    touches <- rows[rows$kind == "touch", ]
    pose <- pose_of(model$marks[sights$target, , drop = FALSE], sights)
    edges <- model$edges[touches$target, ]
    n <- pose$turn * complex(real = edges[, 1], imaginary = edges[, 2])
    head <- complex(real = touches$x, imaginary = touches$y) - pose$mark
    along <- Re(Conj(n) * exp(1i * touches$rotation * pi / 180))
    across <- Re(Conj(n) * 1i * exp(1i * touches$rotation * pi / 180))
    data <- data.frame(away = edges[, 3] - Re(Conj(n) * head), ox = Re(n), oy = Im(n), ex = along, ey = across, radius = -1,
                       wider = Re(n * n / pose$turn^2))
    begun <- proc.time()
    fit <- lmrob(away ~ 0 + ox + oy + ex + ey + radius + wider, data = data)
    used <- proc.time() - begun
    u <- sqrt(diag(vcov(fit)))
    c(coef(fit)[1:2], u[1:2], used[["user.self"]] + used[["sys.self"]])
}

arguments <- commandArgs(trailingOnly = TRUE)
model <- read_model(arguments[1])
set.seed(20260511)
for (run in arguments[-1]) {
    cat(run, sprintf("%.7f", solve_run(model, file.path(arguments[1], run))), "\n")
}
