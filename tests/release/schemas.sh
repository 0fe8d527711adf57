#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
# The schemas under another validator, ajv, in strict mode, and the example's documents against them. Fetches ajv by npm.
set -eu
top=$(cd "$(dirname "$0")/../.." && pwd)
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
command -v npm >/dev/null 2>&1 || sh "$top/tests/packages.sh" npm
(cd "$folder" && npm install --silent --no-fund --no-audit ajv@8 >/dev/null)
cat >"$folder/check.js" <<'JS'
const fs = require("fs"), path = require("path"), Ajv = require("ajv/dist/2020");
const top = process.argv[2], kinds = {};
let passed = 0, failed = 0;
const count = (good, what) => { good ? passed++ : (failed++, console.log("FAIL: " + what)); };
for (const name of fs.readdirSync(path.join(top, "docs/schema"))) {
    const schema = JSON.parse(fs.readFileSync(path.join(top, "docs/schema", name)));
    try {
        kinds[schema.title] = new Ajv({strict: true, allErrors: true}).compile(schema);
        passed++;
    } catch (error) { count(false, `${name}: ${error.message}`); }
}
const walk = folder => fs.readdirSync(folder, {withFileTypes: true}).flatMap(entry =>
    entry.isDirectory() ? walk(path.join(folder, entry.name)) : [path.join(folder, entry.name)]);
for (const file of [...walk(path.join(top, "examples")), ...walk(path.join(top, "tests/field"))].filter(f => f.endsWith(".json"))) {
    const document = JSON.parse(fs.readFileSync(file)), check = kinds[document.schema];
    count(check && check(document), `${file}: ${check && JSON.stringify(check.errors)}`);
}
count(!kinds["tiptrue.plate/1"]({schema: "tiptrue.plate/1"}), "a plate without marks is taken");
console.log(`${passed} passed, ${failed} failed`);
process.exit(failed || !passed ? 1 : 0);
JS
cd "$folder" && node check.js "$top"
