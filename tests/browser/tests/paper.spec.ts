/** Records on paper: printed to PDF as a printer gets them, and read back with poppler (pdftotext, pdftoppm). */
import { execFileSync } from 'node:child_process';
import { writeFileSync } from 'node:fs';
import { begunLine, desk, expect, grave, onTheIsland, phone, test, trace } from '../story.ts';
import type { Place } from '../service.ts';

interface Word {
  text: string;
  x: number;
  y: number;
  right: number;
  bottom: number;
}
interface Sheet {
  width: number;
  height: number;
  words: Word[];
}
interface Picture {
  width: number;
  dark: (x_mm: number, y_mm: number) => boolean;
  /** the longest dark run in a row between two places, in millimetres */
  run: (y_mm: number, from_mm: number, to_mm: number) => number;
  /** where a row is dark between two places: the middle of the first dark run */
  line: (y_mm: number, from_mm: number, to_mm: number) => number;
}

/** A point of a PDF is 1/72 inch (ISO 32000-1, 8.3.2.3). */
const POINT_MM = 25.4 / 72;
const DOTS = 300;

const named: Record<string, string> = { lt: '<', gt: '>', amp: '&', quot: '"', apos: "'" };

/** Every word of every sheet with its box, in millimetres from the upper left. */
function read(pdf: string): Sheet[] {
  const said = execFileSync('pdftotext', ['-bbox', pdf, '-'], { encoding: 'utf8', maxBuffer: 1 << 26 });
  return said.split('<page ').slice(1).map((page) => {
    const size = /width="([\d.]+)" height="([\d.]+)"/.exec(page)!;
    const words = [...page.matchAll(/<word xMin="([\d.-]+)" yMin="([\d.-]+)" xMax="([\d.-]+)" yMax="([\d.-]+)">(.*?)<\/word>/g)];
    return {
      width: Number(size[1]) * POINT_MM,
      height: Number(size[2]) * POINT_MM,
      words: words.map(([, x, y, right, bottom, text]) => ({
        text: text!.replace(/&(\w+);/g, (_, name: string) => named[name] ?? ''),
        x: Number(x) * POINT_MM,
        y: Number(y) * POINT_MM,
        right: Number(right) * POINT_MM,
        bottom: Number(bottom) * POINT_MM,
      })),
    };
  });
}

/** A sheet as the printer's dots: a grey picture (PGM, 'P5': Netpbm's own description), dark below the middle. */
function picture(pdf: string, sheet: number): Picture {
  const bytes = execFileSync('pdftoppm', ['-r', String(DOTS), '-gray', '-f', String(sheet), '-l', String(sheet), pdf], { maxBuffer: 1 << 27 });
  const head = /^P5\s+(\d+)\s+(\d+)\s+255\s/.exec(bytes.subarray(0, 40).toString('latin1'))!;
  const width = Number(head[1]);
  const dots = bytes.subarray(head[0].length);
  const dot = (mm: number) => Math.round((mm * DOTS) / 25.4);
  const at = (x: number, y: number) => dots[y * width + x]! < 128;
  const runs = (y_mm: number, from_mm: number, to_mm: number) => {
    const found: { from: number; length: number }[] = [];
    for (let x = dot(from_mm); x <= dot(to_mm); x += 1) {
      if (!at(x, dot(y_mm))) continue;
      const last = found.at(-1);
      if (last && last.from + last.length === x) last.length += 1;
      else found.push({ from: x, length: 1 });
    }
    return found;
  };
  return {
    width,
    dark: (x, y) => at(dot(x), dot(y)),
    run: (y, from, to) => (Math.max(0, ...runs(y, from, to).map(({ length }) => length)) * 25.4) / DOTS,
    line: (y, from, to) => {
      const [first] = runs(y, from, to);
      return first ? ((first.from + first.length / 2) * 25.4) / DOTS : NaN;
    },
  };
}

const text = ({ words }: Pick<Sheet, 'words'>) => words.map((word) => word.text).join(' ');

/** The map's scale, its bar, its grid and the place of the line's near end on it, measured on the sheet; with where a place of the grid lies. */
function measure(pdf: string, sheet: Sheet, near: string): (east: number, north: number) => { x: number; y: number; dots: Picture } {
  const said = text(sheet);
  const scale = Number(/ 1:([\d,]+) /.exec(said)![1]!.replaceAll(',', ''));
  const dots = picture(pdf, 1);

  const claim = sheet.words.find((word, index) => word.text === 'Print' && sheet.words[index + 1]?.text === 'it')!;
  const [unit, figure] = (() => {
    const index = sheet.words.findIndex(({ text: word, y }) => (word === 'km' || word === 'm') && y > claim.y - 12 && y < claim.y);
    return [sheet.words[index]!.text === 'km' ? 1000 : 1, Number(sheet.words[index - 1]!.text)];
  })();
  const bar_mm = (figure * unit * 1000) / scale;
  expect(said).toContain(`the bar is ${bar_mm.toFixed(1)} mm long`);
  let longest = 0;
  for (let y = claim.y - 9; y < claim.y; y += 0.08) longest = Math.max(longest, dots.run(y, claim.x, claim.x + 70));
  expect(Math.abs(longest - bar_mm), `the bar is ${longest} mm and says ${bar_mm}`).toBeLessThan(0.5);

  // The grid's lines, by the figures above the map: each line stands where its figure does.
  const [, every, of] = /Grid lines every (\d+) (km|m),/.exec(said)!;
  const grid_m = Number(every) * (of === 'km' ? 1000 : 1);
  const digits = grid_m < 1000 ? 3 : 2;
  const top = Math.min(...sheet.words.filter(({ text: word, y }) => word.length === digits && /^\d+$/.test(word) && y > 30).map(({ y }) => y));
  const figures = sheet.words.filter(({ text: word, y }) => /^\d+$/.test(word) && word.length === digits && Math.abs(y - top) < 1).sort((a, b) => a.x - b.x);
  expect(figures.length).toBeGreaterThan(1);
  const norths = figures.map((word) => {
    const middle = (word.x + word.right) / 2;
    return { label: word.text, x: dots.line(word.bottom + 2.2, middle - 1.5, middle + 1.5) };
  });
  for (const [index, { x }] of norths.entries()) {
    if (index > 0) expect(Math.abs(x - norths[index - 1]!.x - (grid_m * 1000) / scale)).toBeLessThan(0.3);
  }

  // The near end's mark stands where its grid reference says: a square of 4 mm about that place.
  const [, east, north] = /(\d{5}) (\d{5})$/.exec(near)!;
  const metres = (label: string) => Number(label) * 10 ** (5 - digits);
  const x = norths[0]!.x + ((Number(east) - metres(norths[0]!.label)) * 1000) / scale;
  const left = sheet.words.filter(({ text: word, x: at }) => /^\d+$/.test(word) && word.length === digits && at < 18);
  const label = left.at(-1)!;
  const from = (label.y + label.bottom) / 2;
  // Across: the frame's left edge is 6 mm right of the margin of 12.
  const lineY = [...Array(40).keys()].map((step) => from - 1.6 + step * 0.08).find((y) => dots.dark(21, y) && dots.dark(24, y))!;
  const y = lineY - ((Number(north) - metres(label.text)) * 1000) / scale;
  const edges = [
    [x - 2, y],
    [x + 2, y],
    [x, y - 2],
    [x, y + 2],
  ] as const;
  for (const [ex, ey] of edges) {
    const around = [-0.25, -0.1, 0, 0.1, 0.25].flatMap((dx) => [-0.25, -0.1, 0, 0.1, 0.25].map((dy) => dots.dark(ex + dx, ey + dy)));
    expect(around.some(Boolean), `the near end is drawn at ${x.toFixed(1)}, ${y.toFixed(1)} mm`).toBe(true);
  }
  expect(dots.dark(x, y + 1.2), 'the mark is open').toBe(false);
  return (atEast, atNorth) => ({
    x: x + ((atEast - Number(east)) * 1000) / scale,
    y: y - ((atNorth - Number(north)) * 1000) / scale,
    dots,
  });
}

test('a line’s records are printed true to scale, whole, and with the references that the service gives', async ({
  operation,
  crew,
}, info) => {
  const line = await begunLine(operation);
  await operation.report([{ kind: 'reel_started', line, reel: crypto.randomUUID(), label: 'Drum 1', length_m: 1600 }]);
  const [from, to] = [trace[0]!, trace[1]!];
  const crossings = Array.from({ length: 18 }, (_, index) => {
    const share = (index + 1) / 20;
    const position: Place = [from[0] + share * (to[0] - from[0]), from[1] + share * (to[1] - from[1])];
    return { kind: 'crossing_marked', crossing: crypto.randomUUID(), line, position, obstacle: 'path', construction: 'buried' };
  });
  await operation.report(crossings);
  const { tags } = await operation.call<{ tags: { number: number; grid: string; words: string }[] }>('GET', `/lines/${line}/tags`);
  expect(tags.length).toBeGreaterThan(36);
  const known = await operation.call<{ features: { properties: { grid: string } }[] }>('GET', '/crossings');

  // Every party may print; a follow-up team does, from a crossing's sheet.
  const page = await crew('follow_up_team', 'Follow-up 1', { viewport: desk });
  await page.goto(`${operation.service.address}/follow-up?page=paper&line=${line}`);
  await page.getByRole('checkbox', { name: 'Crossing sheets' }).check();
  await page.getByRole('checkbox', { name: 'Tag labels' }).check();
  await expect(page.getByRole('article', { name: /^Tag labels, sheet/ }).first()).toBeVisible();

  for (const [paper, width, height] of [
    ['A4', 210, 297],
    ['Letter', 215.9, 279.4],
  ] as const) {
    await page.getByRole('radio', { name: paper, exact: true }).check();
    await expect(page.getByRole('article', { name: /^Tag list, sheet 2 of 2/ })).toBeVisible();
    const file = info.outputPath(`${paper}.pdf`);
    writeFileSync(file, await page.pdf({ preferCSSPageSize: true }));
    const sheets = read(file);
    expect(sheets).toHaveLength(await page.getByRole('article').count());
    for (const sheet of sheets) {
      expect(Math.abs(sheet.width - width)).toBeLessThan(0.2);
      expect(Math.abs(sheet.height - height)).toBeLessThan(0.2);
    }
    // Nothing is cut: every word lies inside the margins of 12 mm, to the height of a line.
    const outside = sheets.flatMap(({ words }) =>
      words.filter(({ x, y, right, bottom }) => !(x > 11.5 && y > 11 && right < width - 11.5 && bottom < height - 11)),
    );
    expect(outside).toEqual([]);

    // What a sheet is stands in its head, upper left.
    const title = ({ words }: Sheet) => text({ words: words.filter(({ x, y }) => x < 120 && y < 17) });
    const of = (record: string) => sheets.filter((sheet) => title(sheet).startsWith(record));
    const list = of('Tag list');
    // The head is repeated on each sheet, and no row is lost where it is cut.
    for (const sheet of list) expect(text(sheet)).toContain('No. Marked Along At Grid reference');
    const rows = list.map(text).join(' ');
    const labels = of('Tag labels').map(text).join(' ');
    const missing = tags.filter(
      ({ number, grid }) =>
        !new RegExp(` ${number} 12 [^]*? ${grid}\\b`).test(rows) || !labels.includes(`Tag ${number} `) || !labels.includes(grid),
    );
    expect(missing).toEqual([]);
    const key = of('Key to the line-route map').map(text).join(' ');
    expect(known.features.filter(({ properties }) => !key.includes(properties.grid))).toEqual([]);
    expect(of('Crossing sheet')).toHaveLength(18);
    for (const sheet of of('Crossing sheet')) expect(text(sheet)).toContain('Before anybody starts');
    measure(file, of('Line-route map')[0]!, tags[0]!.grid);
  }

  await page.setViewportSize(phone);
  expect(await page.evaluate(() => document.documentElement.scrollWidth)).toBeLessThanOrEqual(phone.width);
  expect(await grave(page)).toEqual([]);
});

test('the ground under a line is printed where OpenStreetMap has it, and says whose it is', async ({
  operation,
  crew,
}, info) => {
  onTheIsland(operation.service);
  const line = await begunLine(operation);
  const { tags } = await operation.call<{ tags: { grid: string }[] }>('GET', `/lines/${line}/tags`);
  const page = await crew('follow_up_team', 'Follow-up 1', { viewport: desk });
  await page.goto(`${operation.service.address}/follow-up?page=paper&line=${line}`);
  await expect(page.getByText('Ground: © OpenStreetMap contributors.')).toBeVisible();
  const file = info.outputPath('ground.pdf');
  writeFileSync(file, await page.pdf({ preferCSSPageSize: true }));
  const [sheet] = read(file);
  const said = text(sheet!);
  for (const word of ['main highway', 'railway', 'stream', 'A3', 'Ballasalla']) expect(said).toContain(word);
  // A vertex of OpenStreetMap's way 158803701, the A3, at -4.6545832, 54.0825816: by PROJ (gdaltransform of GDAL 3.6.2)
  // 391,762 m east and 5,993,976 m north in zone 30. A row of dots crosses both edges of the road there.
  const { x, y, dots } = measure(file, sheet!, tags[0]!.grid)(91_762, 93_976);
  const middle = (dots.line(y, x - 1.5, x) + dots.line(y, x, x + 1.5)) / 2;
  expect(Math.abs(middle - x), `the road is drawn at ${middle} mm, and lies at ${x}`).toBeLessThan(0.5);
});
