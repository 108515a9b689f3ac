/**
 * The colours of both lights, ink on cream paper by day and dim red by night, and the one place
 * that names them: the page, the tags and the map all draw from here. It never decides which light
 * is worn (`light.svelte.ts` does). The pairs of text on ground are listed so that a test can
 * compute their contrast; 7:1 is WCAG 2.2, success criterion 1.4.6.
 */
export const lights = ['day', 'night'] as const;
export type Light = (typeof lights)[number];

const day = {
  /** the sheet everything is drawn on */
  paper: '#f8f2e3',
  /** a sheet laid on the sheet: cautions, fields, the pressed row */
  paperRaised: '#efe6d0',
  ink: '#161f29',
  /** the second voice: when, where, how long */
  inkSoft: '#414a54',
  rule: '#c3b491',
  hazard: '#861c08',
  /** what the wireman himself is and where he stands */
  mine: '#0d4075',
  water: '#c4d5da',
  waterLine: '#5d8798',
  waterText: '#1e4757',
  wood: '#dbe1b9',
  woodMark: '#7f8e50',
  road: '#8a7753',
  roadFill: '#fdf9ef',
  highwayFill: '#e6cf9c',
  track: '#94825f',
  rail: '#3b424a',
  power: '#77508c',
  placeText: '#2c343d',
};
export type Tokens = typeof day;

const night: Tokens = {
  paper: '#0f0403',
  paperRaised: '#1e0a07',
  ink: '#ff8a6f',
  inkSoft: '#ea8068',
  rule: '#5a2418',
  hazard: '#ffb9a4',
  mine: '#ffd0c2',
  water: '#1f0b0b',
  waterLine: '#7d3427',
  waterText: '#ea8068',
  wood: '#180906',
  woodMark: '#4a2014',
  road: '#6e2c1e',
  roadFill: '#2a0f0a',
  highwayFill: '#4a1c12',
  track: '#642a1d',
  rail: '#a8452f',
  power: '#8a4636',
  placeText: '#ea8068',
};

export const tokens: Record<Light, Tokens> = { day, night };

/** Every text colour with every ground it is set on. */
export const textPairs: readonly (readonly [text: keyof Tokens, ground: keyof Tokens])[] = [
  ['ink', 'paper'],
  ['ink', 'paperRaised'],
  ['inkSoft', 'paper'],
  ['inkSoft', 'paperRaised'],
  ['hazard', 'paper'],
  ['hazard', 'paperRaised'],
  ['mine', 'paper'],
  ['mine', 'paperRaised'],
  ['paper', 'ink'],
  ['paper', 'hazard'],
  ['waterText', 'paper'],
  ['placeText', 'paper'],
  ['placeText', 'wood'],
];

const property = (name: string) => `--${name.replace(/[A-Z]/g, (letter) => `-${letter.toLowerCase()}`)}`;

/** Both lights as custom properties, worn by `data-light` on the page's root. */
export function tokensCss(): string {
  return lights
    .map((light) => {
      const lines = Object.entries(tokens[light]).map(([name, colour]) => `${property(name)}:${colour}`);
      return `html[data-light='${light}']{color-scheme:${light === 'day' ? 'light' : 'dark'};${lines.join(';')}}`;
    })
    .join('');
}
