// SPDX-License-Identifier: Apache-2.0
// node page.mjs FOLDER: the pages FOLDER/small.html and FOLDER/large.html in real Chromium.
import assert from "node:assert/strict";
import { mkdtempSync, statSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join, resolve } from "node:path";
import { pathToFileURL } from "node:url";
import { createRequire } from "node:module";

const [folder, modules] = process.argv.slice(2).map((path) => resolve(path));
const { chromium } = createRequire(join(modules, "package.json"))("playwright-core");
const profile = mkdtempSync(join(tmpdir(), "telltale-page-"));
const browser = await chromium.launchPersistentContext(profile, {
  executablePath: process.env.CHROMIUM || "/usr/bin/chromium",
  headless: true,
  viewport: { width: 1280, height: 1000 },
  args: ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync"],
});
let checks = 0;
const check = (truth, what) => { assert.ok(truth, what); ++checks; };
const equal = (a, b, what) => { assert.equal(a, b, what); ++checks; };

const open = async (name, context = browser, measure = false) => {
  const page = await context.newPage();
  if (measure) {
    page.measured = await context.newCDPSession(page);
    await page.measured.send("Performance.enable", { timeDomain: "threadTicks" });
  }
  page.told = [];
  page.asked = [];
  page.on("console", (message) => { if (["error", "warning"].includes(message.type())) page.told.push(message.text()); });
  page.on("pageerror", (error) => page.told.push(String(error)));
  page.on("request", (request) => page.asked.push(request.url()));
  const address = pathToFileURL(join(folder, name)).href;
  await page.goto(address);
  page.address = address;
  return page;
};
const clean = (page) => {
  assert.deepEqual(page.told, [], "nothing on the console");
  assert.deepEqual(page.asked.filter((url) => url !== page.address), [], "no request");
  checks += 2;
};

// --- it works, and hostile texts do nothing ------------------------------------------------------------
const page = await open("small.html");
await page.waitForSelector("html[data-ready=yes]");
const now = async () => parseFloat((await page.textContent("#now")).replace("\u2212", "-"));
// The page draws what was asked for with the browser's next frame; one more is for what a new size of the
// window sets going, and the third is past them both. However slow the machine is, no time is waited for.
const drawn = () => page.evaluate(() => new Promise((resolve) => {
  requestAnimationFrame(() => requestAnimationFrame(() => requestAnimationFrame(resolve)));
}));
const until = async (truth, what) => {
  for (let i = 0; i < 600 && !await truth(); ++i) await page.waitForTimeout(50);
  check(await truth(), what);
};
const at = async (place, what) => { await drawn(); equal(await now(), place, what); };
const press = async (key) => { await page.keyboard.press(key); await drawn(); };
equal(await page.evaluate(() => window.harmed), undefined, "no text became code");
equal(await page.locator("img").count(), 0, "no text became an element");
check((await page.title()).includes("</script><script>"), "the hostile title is shown as text");
await at(118.03, "it begins at the first departure");
equal(await page.locator(".strip").count(), 2, "the strips of the lead and of the setting");
const stepped = [];
for (let i = 0; i < 3; ++i) { await press("ArrowRight"); stepped.push(await now()); }
assert.deepEqual(stepped, [118.23, 118.43, 118.63], "sample by sample"); ++checks;
await press("ArrowLeft");
await at(118.43, "a sample back");
check((await page.textContent(".strip.focus .b")).includes("10.0 °C"), "the readout says the sample");
check((await page.textContent(".strip.focus .e")).includes("expected:"), "and what was expected");
await press("d");
await at(122.03, "the next piece of the departure");
await press("D");
await at(118.03, "the one before");
await press("m");
await at(120, "the mark");
await press("m");
await at(200, "the next mark");
await press("Home");
await at(0, "the start");
await press("End");
check(await now() > 300, "the end");
await page.click("#leads button");
await at(118.03, "the list leads to the departure");
await press("u");
check((await page.textContent(".strip.focus .b")).includes("°F"), "US units");
check((await page.textContent(".strip.focus .b")).includes("50.0 °F"), "10 °C are 50 °F");
await press("u");
check((await page.textContent(".strip.focus .b")).includes("10.0 °C"), "and back");
// Running forward and back by itself.
await page.selectOption("#speed", "4");
await page.click("#forward");
await until(async () => await now() > 118.5, "it runs forward");
await page.click("#forward");
await drawn();
const ran = await now();
await page.click("#backward");
await until(async () => await now() < ran, "it runs back");
await page.click("#backward");
// A click on a strip goes there; a gap has no value.
await page.click("#whole");
await drawn();
const over = page.locator(".strip .u-over").first();
const box = await over.boundingBox();
await over.click({ position: { x: box.width * (65 / 305.2), y: 40 } });
await drawn();
check(Math.abs(await now() - 65) < 3, "a click goes to its moment");
check((await page.textContent(".strip .b")).includes("no sample"), "in a gap there is no value");
// Choosing and ordering strips.
await page.locator("#chooser input").nth(5).check();
equal(await page.locator(".strip").count(), 3, "a strip more");
const order = () => page.locator(".strip").evaluateAll((nodes) => nodes.map((node) => node.dataset.signal.slice(0, 6)));
const before = await order();
await page.locator(".strip").nth(2).locator("button").first().click();
assert.deepEqual(await order(), [before[0], before[2], before[1]], "a strip moved up"); ++checks;
await page.locator(".strip").nth(1).locator("button").nth(2).click();
equal(await page.locator(".strip").count(), 2, "a strip taken away");
await press("+");
await press("0");
const look = await page.evaluate(() => document.documentElement.dataset.look);
await press("l");
check(look !== await page.evaluate(() => document.documentElement.dataset.look), "light and dark");
equal(await page.evaluate(() => window.harmed), undefined, "still nothing became code");
// A tablet, upright: nothing is wider than the screen, and what is touched is large enough.
await page.setViewportSize({ width: 820, height: 1180 });
await drawn();
check(await page.evaluate(() => document.documentElement.scrollWidth <= innerWidth), "no sideways scrolling on a tablet");
await page.screenshot({ path: join(folder, "tablet.png") });
for (const format of ["A4", "Letter"]) {
  const paper = await page.pdf({ format });
  check(paper.length > 5000, "prints on " + format);
  writeFileSync(join(folder, `print-${format}.pdf`), paper);
}
await page.emulateMedia({ media: "print" });
check(await page.locator(".still svg").first().isVisible(), "paper shows the still pictures");
check(!await page.locator(".bar").isVisible(), "and no buttons");
clean(page);
await page.close();

// --- a long drive opens quickly ---------------------------------------------------------------------------
const size = statSync(join(folder, "large.html")).size;
check(size < 5e6, "40 signals over 30 minutes are under 5 MB: " + size);
// The processor's time, not the clock's, and the quickest of three: what else the machine does at the time is
// not the page.
let took = Infinity;
for (let i = 0; i < 3; ++i) {
  const long = await open("large.html", browser, true);
  await long.waitForSelector("html[data-ready=yes]");
  const { metrics } = await long.measured.send("Performance.getMetrics");
  took = Math.min(took, 1000 * metrics.find(({ name }) => name === "TaskDuration").value);
  clean(long);
  await long.close();
}
check(took < 2000, "it opens in under 2 s of processor time: " + took);
await browser.close();

// --- without scripts the figures and the words are there -------------------------------------------------------
const bare = await chromium.launchPersistentContext(mkdtempSync(join(tmpdir(), "telltale-page-")), {
  executablePath: process.env.CHROMIUM || "/usr/bin/chromium", headless: true, javaScriptEnabled: false,
  args: ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-sync"],
});
const still = await open("small.html", bare);
check(await still.locator(".still svg").first().isVisible(), "a figure without scripts");
check(await still.locator(".wide table").first().isVisible(), "the table without scripts");
check(!await still.locator(".bar").isVisible(), "no dead buttons");
await still.screenshot({ path: join(folder, "noscript.png") });
clean(still);
await bare.close();
console.log(`${checks} checks of the page passed; 30 min x 40 signals: ${size} bytes, open in ${took.toFixed(0)} ms of processor time`);
