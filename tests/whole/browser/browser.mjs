// SPDX-License-Identifier: Apache-2.0
// node browser.mjs PAGE DUMP REPORT MODULES: the page decodes DUMP, dropped on it, in real Chromium; its
// report is the file REPORT, and nothing leaves the page.
import assert from "node:assert/strict";
import { mkdtempSync, readFileSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { basename, join, resolve } from "node:path";
import { pathToFileURL } from "node:url";
import { createRequire } from "node:module";

const [html, dump, report, modules] = process.argv.slice(2).map((path) => resolve(path));
const { chromium } = createRequire(join(modules, "package.json"))("playwright-core");
const browser = await chromium.launchPersistentContext(mkdtempSync(join(tmpdir(), "telltale-page-")), {
  executablePath: process.env.CHROMIUM || "/usr/bin/chromium",
  headless: true,
  timeout: 120000,
  args: ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync"],
});
const page = await browser.newPage();
page.setDefaultTimeout(120000);
const told = [];
const asked = [];
page.on("console", (message) => { if (["error", "warning"].includes(message.type())) told.push(message.text()); });
page.on("pageerror", (error) => told.push(String(error)));
page.on("request", (request) => asked.push(request.url()));
const address = pathToFileURL(html).href;
await page.goto(address);
const state = (text) => page.waitForFunction((wanted) => document.getElementById("state").textContent === wanted,
  text);
await state("Ready.");

const drop = (name, bytes) => page.evaluate(([name, text]) => {
  const bytes = Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
  const data = new DataTransfer();
  data.items.add(new File([bytes], name));
  document.getElementById("place").dispatchEvent(
    new DragEvent("drop", { dataTransfer: data, bubbles: true, cancelable: true }));
}, [name, bytes.toString("base64")]);

// Dropped.
const name = basename(dump);
await drop(name, readFileSync(dump));
await state(`${name}: decoded.`);
assert.equal(await page.textContent("#report"), readFileSync(report, "utf8"), "the program's report, to the letter");
const values = (await page.textContent("#values")).split("\n");
assert.equal(values.length, 5002, "so many lines of values, and how many more there are");
assert.ok(values.some((line) => /^[0-9.]+ 7E8 Engine speed: [0-9.]+ rpm$/.test(line)), values[0]);

// What is no dump is said to be none; a name is text; what was shown before goes away.
const hostile = "<img src=x onerror=window.harmed=1>.bin";
await drop(hostile, Buffer.from("\x00\x01 no dump at all \xff\xfe"));
await state(`${hostile}: not decoded.`);
assert.ok((await page.textContent("#report")).length > 10, "why");
assert.equal(await page.textContent("#values"), "");
assert.equal(await page.evaluate(() => window.harmed), undefined);
assert.equal(await page.locator("img").count(), 0);

// Chosen from the folder, damaged: decoded as far as it goes.
const cut = join(modules, "cut.pcapng");
writeFileSync(cut, readFileSync(dump).subarray(0, 9999));
await page.setInputFiles("#choose", cut);
await state("cut.pcapng: decoded.");
assert.notEqual(await page.textContent("#report"), readFileSync(report, "utf8"));

assert.deepEqual(told, [], "nothing on the console");
assert.deepEqual(asked.filter((url) => url !== address && !url.startsWith("data:")), [], "no request");
// Even if it wanted to: the page's own rule lets nothing out.
assert.equal(await page.evaluate(() => fetch("http://127.0.0.1:9/").then(() => "out", () => "kept in")), "kept in");
await browser.close();
console.log("the page decodes");
