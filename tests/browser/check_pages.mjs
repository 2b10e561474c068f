/* The report page in a real browser: Debian's Chromium, driven by npm playwright-core, with npm axe-core as the
   accessibility checker (rules tagged WCAG 2.x A and AA). Pages are made by the program from the demo take and from every
   take of audio-fixtures/. For each page, in wide and narrow windows, light and dark:
   - no message on the console, no error, no request to anything but the file itself;
   - every written note is reached with the Tab key and has a spoken label;
   - choosing a note plays its span of the take (against the JSON report) and then the right pitch at the report's A;
   - nothing scrolls sideways at 360 px; no mark of a figure is outside its picture's box on the page;
   - printed on Letter and A4 it takes at most two pages (the player's voice);
   - the accessibility checker finds nothing serious or critical.
   Screenshots stay in target/browser/ to be looked at. Prints a line for each page; exits with 1 if anything failed.
   Usage: node tests/browser/check_pages.mjs [CASE] */
import { execFileSync, spawnSync } from "node:child_process";
import { createRequire } from "node:module";
import { existsSync, mkdirSync, readFileSync, readdirSync, statSync } from "node:fs";
import { dirname, join, resolve } from "node:path";
import { fileURLToPath, pathToFileURL } from "node:url";

const root = resolve(dirname(fileURLToPath(import.meta.url)), "../..");
const require = createRequire(join(root, "target/outside/npm/package.json"));
const { chromium } = require("playwright-core");
const axe = readFileSync(require.resolve("axe-core/axe.min.js"), "utf8");
const program = process.env.FINGERTAPE ?? join(root, "target/release/fingertape");
const place = join(root, "target/browser");
mkdirSync(place, { recursive: true });

const failures = [];
function hold(page, claim, holds, seen) {
  if (!holds) failures.push(`${page}: ${claim}${seen === undefined ? "" : `: ${JSON.stringify(seen)}`}`);
}

/* The pages: the demo and every fixture that is a take with a melody, in the player's and in the teacher's voice. */
function makePages() {
  const cases = [["demo", join(root, "demo-data")]];
  const only = process.argv[2];
  for (const name of readdirSync(join(root, "audio-fixtures")).sort()) {
    const folder = join(root, "audio-fixtures", name);
    if (existsSync(join(folder, "take.flac")) && existsSync(join(folder, "melody.toml"))) cases.push([name, folder]);
  }
  const pages = [];
  for (const [name, folder] of cases) {
    if (only !== undefined && only !== name) continue;
    for (const voice of ["player", "teacher"]) {
      const [html, json] = ["html", "json"].map((ending) => join(place, `${name}-${voice}.${ending}`));
      const detail = voice === "teacher" ? ["--detail"] : [];
      const run = spawnSync(program, ["check", join(folder, "take.flac"), "--melody", join(folder, "melody.toml"),
        "--page", html, "--json", json, ...detail], { encoding: "utf8" });
      if (run.status > 1) throw new Error(`${name}: ${run.stderr}`);
      pages.push({ name: `${name}-${voice}`, voice, html, report: JSON.parse(readFileSync(json, "utf8")) });
    }
  }
  return pages;
}

/* What the script starts, kept where the test can read it: pieces of the take, and tones. */
const recordStarts = () => {
  window.started = [];
  const piece = AudioBufferSourceNode.prototype.start;
  AudioBufferSourceNode.prototype.start = function (at, from, lasts) {
    window.started.push({ kind: "take", at, from, lasts, whole: this.buffer.duration });
    return piece.call(this, at, from, lasts);
  };
  const tone = OscillatorNode.prototype.start;
  OscillatorNode.prototype.start = function (at) {
    window.started.push({ kind: "tone", at, hertz: this.frequency.value });
    return tone.call(this, at);
  };
};

async function opened(browser, options, file, seen) {
  const context = await browser.newContext(options);
  await context.addInitScript(recordStarts);
  const page = await context.newPage();
  page.on("console", (message) => seen.push(`console: ${message.text()}`));
  page.on("pageerror", (error) => seen.push(`error: ${error.message}`));
  page.on("request", (request) => { if (request.url() !== file) seen.push(`request: ${request.url().slice(0, 80)}`); });
  await page.goto(file);
  return page;
}

/* Tabs through the whole page; the notes in the order in which they get the focus. */
async function tabbed(page) {
  const reached = [];
  let label = null;
  for (let presses = 0; presses < 1500; presses += 1) {
    await page.keyboard.press("Tab");
    const now = await page.evaluate(() => {
      const one = document.activeElement;
      if (one === null || one === document.body) return null;
      const box = one.getBoundingClientRect();
      const style = getComputedStyle(one);
      return { item: one.closest(".note")?.dataset.note ?? null, label: one.getAttribute("aria-label"), wide: box.width, high: box.height,
        outlined: style.outlineStyle !== "none" && parseFloat(style.outlineWidth) > 0 };
    });
    if (now === null) break;
    reached.push(now);
    label = now.label;
  }
  return { reached: reached.filter((one) => one.item !== null), label };
}

async function serious(page) {
  await page.evaluate(axe);
  const found = await page.evaluate(() => window.axe.run(document, {
    runOnly: { type: "tag", values: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"] },
  }));
  return found.violations.filter((one) => ["serious", "critical"].includes(one.impact))
    .map((one) => `${one.id} at ${one.nodes.slice(0, 3).map((node) => node.target.join(" ")).join(" | ")}`);
}

/* Ink of inline pictures that sticks out of its picture, by more than a pixel. */
const stickingOut = () => Array.from(document.querySelectorAll("svg")).flatMap((svg) => {
  const room = svg.getBoundingClientRect();
  if (room.width === 0) return [];
  return Array.from(svg.querySelectorAll("text, path, line, rect, circle, use")).filter((one) => {
    if (one.closest("defs, symbol, pattern, clipPath") !== null) return false;
    const whole = one.getBoundingClientRect();
    /* The box of a text is higher than its letters, by about a quarter above and below. */
    const spare = one.tagName === "text" ? whole.height / 4 : 0;
    const box = { left: whole.left, right: whole.right, top: whole.top + spare, bottom: whole.bottom - spare };
    return box.left < room.left - 1.5 || box.right > room.right + 1.5 || box.top < room.top - 1.5 || box.bottom > room.bottom + 1.5;
  }).map((one) => `${one.tagName} ${one.getAttribute("class")} ${one.textContent.slice(0, 20)}`);
}).slice(0, 5);

/* Texts of one picture that lie on each other. */
const onEachOther = () => Array.from(document.querySelectorAll("svg")).flatMap((svg) => {
  if (svg.getBoundingClientRect().width === 0) return [];
  const texts = Array.from(svg.querySelectorAll("text")).map((one) => ({ text: one.textContent, box: one.getBoundingClientRect() }));
  const found = [];
  texts.forEach((one, k) => texts.slice(k + 1).forEach((other) => {
    const wide = Math.min(one.box.right, other.box.right) - Math.max(one.box.left, other.box.left);
    const high = Math.min(one.box.bottom, other.box.bottom) - Math.max(one.box.top, other.box.top);
    /* The box of a text is higher than its letters. */
    if (wide > 1 && high > 0.45 * Math.min(one.box.height, other.box.height)) found.push(`${one.text} / ${other.text}`);
  }));
  return found;
}).slice(0, 5);

async function checkPage(browser, { name, voice, html, report }) {
  const file = pathToFileURL(html).href;
  const seen = [];
  const judged = report.outcome === "judged";
  const page = await opened(browser, { viewport: { width: 1100, height: 900 } }, file, seen);
  await page.screenshot({ path: join(place, `${name}-wide.png`), fullPage: true });
  hold(name, "the title of the page is there", (await page.title()).length > 0);
  hold(name, "no mark is outside its picture", (await page.evaluate(stickingOut)).length === 0, await page.evaluate(stickingOut));
  hold(name, "no words of a picture lie on each other", (await page.evaluate(onEachOther)).length === 0, await page.evaluate(onEachOther));
  const wide = await serious(page);
  hold(name, "nothing serious for the accessibility checker", wide.length === 0, wide);

  /* Keyboard. */
  await page.evaluate(() => { document.activeElement?.blur(); window.scrollTo(0, 0); });
  const { reached } = await tabbed(page);
  const items = new Set(reached.map((one) => one.item));
  hold(name, "every note is reached with the Tab key", items.size === report.notes.length, [items.size, report.notes.length]);
  hold(name, "every note has a label that is spoken", reached.every((one) => /bar \d|pickup/i.test(one.label ?? "")), reached.find((one) => !/bar \d|pickup/i.test(one.label ?? "")));
  hold(name, "the focus is seen", reached.every((one) => one.outlined));

  /* Sound: the notes in the order of the page are those of the report. */
  if (judged) {
    const notes = await page.$$eval(".note[data-note]", (all) => {
      const shown = all.filter((one) => one.getBoundingClientRect().width > 0);
      return shown.map((one) => Number(one.dataset.note)).filter((item, k, list) => list.indexOf(item) === k);
    });
    for (const [place_, item] of notes.entries()) {
      const finding = report.notes[place_];
      await page.evaluate(() => { window.started = []; });
      const how = place_ % 3;
      const note = page.locator(`.note[data-note="${item}"]:visible`).first();
      if (how === 0) await note.click({ timeout: 4000 }).catch((error) => hold(name, `note ${place_} can be clicked`, false, error.message.slice(0, 300)));
      else { await note.focus(); await page.keyboard.press(how === 1 ? "Enter" : " "); }
      await page.waitForFunction(() => window.started.some((one) => one.kind === "tone"), null, { timeout: 4000 })
        .catch(() => hold(name, `choosing note ${place_} sounds`, false));
      const started = await page.evaluate(() => window.started);
      const tone = started.find((one) => one.kind === "tone");
      const right = report.melody.a4_hz * 2 ** ((finding.written_midi - 69) / 12);
      hold(name, `note ${place_}: the right pitch follows`, tone !== undefined && Math.abs(tone.hertz - right) < 0.01 * right / 100, [tone?.hertz, right]);
      const piece = started.find((one) => one.kind === "take");
      if (finding.onset_s === null) {
        hold(name, `note ${place_}: what was not heard is not played`, piece === undefined, piece);
      } else {
        hold(name, `note ${place_}: its moment of the take is played first`, piece !== undefined && piece.at < tone.at, started);
        /* The page holds the take from a little before its first note on. */
        const start = piece === undefined ? 0 : piece.from - Number(await page.locator(`.note[data-note="${item}"][data-from]`).first().getAttribute("data-from"));
        hold(name, `note ${place_}: from its place in the page`, Math.abs(start) < 1e-6, start);
        const lasts = finding.offset_s - finding.onset_s;
        hold(name, `note ${place_}: as long as the note with a little around it`,
          piece !== undefined && piece.lasts >= lasts - 0.005 && piece.lasts <= lasts + 0.6 && piece.from + piece.lasts <= piece.whole + 0.05,
          [piece?.from, piece?.lasts, lasts, piece?.whole]);
      }
    }
    const spans = await page.$$eval(".note[data-from]", (all) => all.map((one) => [Number(one.dataset.note), Number(one.dataset.from), Number(one.dataset.to)]));
    const byItem = new Map(spans.map(([item, from, to]) => [item, [from, to]]));
    const heard = report.notes.map((finding, k) => [finding, byItem.get(notes[k])]).filter(([finding, span]) => finding.onset_s !== null && span !== undefined);
    if (heard.length > 0) {
      const shifts = heard.map(([finding, [from]]) => finding.onset_s - from);
      /* One and the same shift for all: the part of the take that is in the page, and the little before a note. */
      hold(name, "the spans are those of the report", Math.max(...shifts) - Math.min(...shifts) < 0.2, [Math.min(...shifts), Math.max(...shifts)]);
    }
  } else {
    hold(name, "a refused take has no sound in it", (await page.$("#take-sound")) === null);
  }
  await page.context().close();

  /* A phone, in dark colours and with big letters. */
  for (const width of [360, 320]) {
    const phone = await opened(browser, { viewport: { width, height: 780 }, colorScheme: "dark", deviceScaleFactor: 2 }, file, seen);
    const over = await phone.evaluate(() => document.scrollingElement.scrollWidth - window.innerWidth);
    hold(name, `nothing scrolls sideways at ${width} px`, over <= 0, over);
    if (width === 360) {
      await phone.screenshot({ path: join(place, `${name}-phone.png`), fullPage: true });
      hold(name, "on a phone no mark is outside its picture", (await phone.evaluate(stickingOut)).length === 0, await phone.evaluate(stickingOut));
      hold(name, "on a phone no words of a picture lie on each other", (await phone.evaluate(onEachOther)).length === 0, await phone.evaluate(onEachOther));
      const dark = await serious(phone);
      hold(name, "nothing serious on a dark phone", dark.length === 0, dark);
      const { reached: onPhone } = await tabbed(phone);
      hold(name, "on a phone every note is reached", new Set(onPhone.map((one) => one.item)).size === report.notes.length, onPhone.length);
    }
    await phone.context().close();
  }

  /* Paper. */
  const printed = await opened(browser, { viewport: { width: 1100, height: 900 } }, file, seen);
  const counts = [];
  for (const format of ["Letter", "A4"]) {
    const pdf = join(place, `${name}-${format}.pdf`);
    await printed.pdf({ path: pdf, format, preferCSSPageSize: false });
    const pages = Number(/Pages:\s+(\d+)/.exec(execFileSync("pdfinfo", [pdf], { encoding: "utf8" }))[1]);
    counts.push(pages);
    if (voice === "player") hold(name, `one or two pages of ${format}`, pages <= 2, pages);
  }
  await printed.context().close();
  hold(name, "nothing on the console and no request", seen.length === 0, seen.slice(0, 3));
  const bytes = statSync(html).size;
  hold(name, "under 1.5 MB for each minute of sound", bytes < 1.5e6 * Math.max(1, report.take.duration_s / 60), bytes);
  console.log(`${name}: ${report.notes.length} notes, ${(bytes / 1000).toFixed(0)} kB, ${counts.join(" and ")} printed pages`);
}

const browser = await chromium.launch({
  executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium",
  args: ["--no-sandbox", "--disable-background-networking", "--disable-component-update", "--disable-sync", "--autoplay-policy=no-user-gesture-required"],
});
try {
  for (const page of makePages()) {
    await checkPage(browser, page);
    // A page that does not work at all would make each of the others wait for its time to run out.
    if (failures.length > 40) break;
  }
} finally {
  await browser.close();
}
for (const failure of failures) console.error(`FAILED ${failure}`);
console.log(failures.length === 0 ? "pages: every claim holds" : `pages: ${failures.length} claims do not hold`);
process.exit(failures.length === 0 ? 0 : 1);
