// Scores answers with the response processing of @oat-sa/tao-item-runner-qti: node score_2_1.cjs NODE_MODULES < items.
// Standard input is JSON: a list of {item, answers}; standard output a list of lists of outcomes, one for each answer.
// The package is AMD modules for a browser, so a loader of a few lines stands in for RequireJS.
"use strict";

const fs = require("node:fs");
const path = require("node:path");
const vm = require("node:vm");

const modules = process.argv[2];
const loaded = new Map([["lodash", require(path.join(modules, "lodash"))]]);

function load(name) {
  if (!loaded.has(name)) {
    const file = path.join(modules, "@oat-sa/tao-item-runner-qti/dist", `${name.replace("taoQtiItem/", "")}.js`);
    let value;
    const define = (needs, make) => {
      value = typeof needs === "function" ? needs() : make(...needs.map(load));
    };
    vm.runInThisContext(`(function (define) {${fs.readFileSync(file, "utf8")}\n})`, { filename: file })(define);
    loaded.set(name, value);
  }
  return loaded.get(name);
}

const scorer = load("taoQtiItem/scoring/provider/qti");
const found = JSON.parse(fs.readFileSync(0, "utf8")).map(({ item, answers }) =>
  answers.map((answer) => {
    let outcomes;
    const host = {
      trigger(_, error) {
        throw error;
      },
    };
    scorer.process.call(host, answer, item, (state) => {
      outcomes = state;
    });
    const value = (name) => (outcomes[name] && outcomes[name].base ? Object.values(outcomes[name].base)[0] : null);
    return { score: value("SCORE"), slip: value("SLIP") };
  }),
);
process.stdout.write(JSON.stringify(found));
