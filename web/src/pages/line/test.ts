/**
 * A test over a line: the report that follows from what was filled in, and a judged test in words and figures. What is
 * expected and what the verdict is, the service says; nothing here judges.
 */
import type {
  Body,
  JudgedTest,
  LineFeature,
  Proof,
  ProofVerdict,
  Quality,
  Readings,
  TestedAfter,
  TestedFrom,
  TestWeather,
} from '../../api/types.ts';
import { lengthTyped } from '../../operation/measure.ts';
import { distance, type Units } from '../../ui/figures.ts';
import { figureIn, ohmsIn, ohmsWords, temperatureIn, temperatureWords } from './readings.ts';

export const afterWords: Record<TestedAfter, string> = {
  splice: 'after a splice',
  reel: 'after a new reel',
  crossing: 'after a crossing',
  line_laid: 'with the line laid',
  repair: 'after a repair',
};
export const qualityWords: Record<Quality, string> = {
  clear: 'clear',
  weak: 'weak',
  noisy: 'noisy',
  comes_and_goes: 'comes and goes',
};
export const weatherWords: Record<TestWeather, string> = {
  dry: 'dry',
  damp: 'fog, dew or wet ground',
  rain: 'rain or melting snow',
  frost: 'frost or lying snow',
};
export const verdictWords: Record<ProofVerdict, string> = {
  good: 'good',
  worse: 'serves, worse than it should',
  bad: 'does not serve',
};
const proofWords: Record<Proof, string> = {
  call: 'Call',
  loop: 'Loop',
  insulation: 'Insulation',
  loss: 'Loss at 1 kHz',
};
export const wireWords = {
  wd_1_tt: 'WD-1/TT',
  wd_1a_tt: 'WD-1A/TT',
  wd_36_tt: 'WD-36/TT',
  wf_16_u: 'WF-16/U',
  w_110_b: 'W-110-B',
} as const;
export type NamedWire = keyof typeof wireWords;
export const telephoneWords = { ta_312: 'TA-312', ta_1: 'TA-1' } as const;
export type NamedTelephone = keyof typeof telephoneWords;

/** What a test follows; the final test is the one that proves the line. */
export type Occasion = TestedAfter | 'none' | 'final';

/** The form, as it stands in the fields. */
export interface TestTyped {
  occasion: Occasion;
  from: TestedFrom | null;
  chainage: string;
  to_whom: string;
  rang: boolean;
  spoke: boolean;
  quality: Quality | null;
  loop: string;
  insulation: string;
  loss: string;
  temperature: string;
  weather: TestWeather | null;
  instrument: string;
  wire: NamedWire;
  telephone: NamedTelephone;
}

export const untyped = (): TestTyped => ({
  occasion: 'none',
  from: null,
  chainage: '',
  to_whom: '',
  rang: false,
  spoke: false,
  quality: null,
  loop: '',
  insulation: '',
  loss: '',
  temperature: '',
  weather: null,
  instrument: '',
  wire: 'wd_1_tt',
  telephone: 'ta_312',
});

export type Problems<T> = Partial<Record<keyof T, string>>;

/** The report of the test, or what is wrong with which field. */
export function testBody(
  typed: TestTyped,
  line: string,
  units: Units,
): { body: Body } | { problems: Problems<TestTyped> } {
  const problems: Problems<TestTyped> = {};
  const readings = readingsOf(typed, units, problems);
  if (typed.occasion === 'final') {
    if (!typed.rang || !typed.spoke) problems.occasion = 'A line that does not ring and talk is not proved.';
    if (Object.keys(problems).length > 0) return { problems };
    return { body: { kind: 'line_proved', line, ...(readings ? { readings } : {}) } };
  }
  if (typed.from === null) problems.from = 'Say from where the test was made.';
  const along = typed.from === 'along' && typed.chainage.trim() !== '';
  const chainage_m = along ? lengthTyped(typed.chainage, units) : null;
  if (along && (chainage_m === null || chainage_m < 0))
    problems.chainage = 'Write how far along the line, such as 4600 m or 2.9 mi; or leave it empty.';
  if (typed.from === null || Object.keys(problems).length > 0) return { problems };
  const to_whom = typed.to_whom.trim();
  return {
    body: {
      kind: 'test_made',
      line,
      from: typed.from,
      rang: typed.rang,
      spoke: typed.spoke,
      ...(chainage_m === null ? {} : { chainage_m }),
      ...(to_whom ? { to_whom } : {}),
      ...(typed.spoke && typed.quality ? { quality: typed.quality } : {}),
      ...(typed.occasion === 'none' ? {} : { after: typed.occasion }),
      ...(readings ? { readings } : {}),
    },
  };
}

/** What an instrument read; null where nothing was read. Conditions alone are no reading. */
function readingsOf(typed: TestTyped, units: Units, problems: Problems<TestTyped>): Readings | null {
  const read: Readings = {};
  const ohms = (key: 'loop' | 'insulation', into: 'loop_ohm' | 'insulation_ohm') => {
    if (typed[key].trim() === '') return;
    const figure = ohmsIn(typed[key]);
    if (figure === null) problems[key] = 'Write ohms, from 0 to 100 MΩ: 240, or 2.5 M.';
    else read[into] = figure;
  };
  ohms('loop', 'loop_ohm');
  ohms('insulation', 'insulation_ohm');
  if (typed.loss.trim() !== '') {
    const loss_db = figureIn(typed.loss, 'dB');
    if (loss_db === null || loss_db < 0 || loss_db > 200)
      problems.loss = 'Write decibels, from 0 to 200: 12.5.';
    else read.loss_db = loss_db;
  }
  const any = Object.keys(read).length > 0;
  if (typed.temperature.trim() !== '') {
    const temperature_c = temperatureIn(typed.temperature, units);
    if (temperature_c === null)
      problems.temperature = `Write the wire’s temperature, from ${temperatureWords(-60, units)} to ${temperatureWords(95, units)}.`;
    else read.temperature_c = temperature_c;
  }
  if (!any) return null;
  const instrument = typed.instrument.trim();
  return {
    ...read,
    ...(typed.weather ? { weather: typed.weather } : {}),
    ...(instrument ? { instrument } : {}),
    ...(typed.wire === 'wd_1_tt' ? {} : { wire: typed.wire }),
    ...(typed.telephone === 'ta_312' ? {} : { telephone: typed.telephone }),
  };
}

/** 'Lead 1, from Mill exchange to Post, after a splice' */
export function testWords({ test }: JudgedTest, { properties: line }: LineFeature, units: Units): string {
  const from =
    test.from === 'near_end'
      ? `from ${line.from}`
      : test.from === 'far_end'
        ? `from ${line.to}`
        : `from ${distance(test.chainage_m, units)} along the line`;
  return [
    test.team,
    `${from}${test.to_whom ? ` to ${test.to_whom}` : ''}`,
    ...(test.is_final ? ['the final test'] : test.after ? [afterWords[test.after]] : []),
  ].join(', ');
}

export interface Row {
  what: string;
  read: string;
  expected: string;
  verdict: string;
}

/** A judged test's parts, each with what a sound line should give beside it. */
export function rows({ test, judged }: JudgedTest): Row[] {
  if (!judged) return [];
  const { expected, parts } = judged;
  const { readings } = test;
  const decibels = (loss_db: number) => `${loss_db.toFixed(1)} dB`;
  const said = (what: Proof): [read: string, expected: string] => {
    switch (what) {
      case 'call':
        return [
          [
            test.rang ? 'rang' : 'did not ring',
            test.spoke ? 'spoke' : 'did not speak',
            ...(test.quality ? [qualityWords[test.quality]] : []),
          ].join(', '),
          'rings and talks, clear',
        ];
      case 'loop':
        return [
          ohmsWords(readings?.loop_ohm),
          expected.reading
            ? `${ohmsWords(expected.reading.least_ohm)} to ${ohmsWords(expected.reading.most_ohm)}`
            : 'not known of this wire',
        ];
      case 'insulation':
        return [ohmsWords(readings?.insulation_ohm), `at least ${ohmsWords(expected.least_insulation_ohm)}`];
      case 'loss': {
        const { loss_dry_db: dry, loss_wet_db: wet } = expected;
        const sound = [
          ...(dry === null ? [] : [`${decibels(dry)} dry`]),
          ...(wet === null ? [] : [`${decibels(wet)} wet`]),
        ];
        return [
          typeof readings?.loss_db === 'number' ? decibels(readings.loss_db) : '',
          [...sound, `at most ${decibels(expected.allowance_db)}`].join(', '),
        ];
      }
    }
  };
  return parts.map(({ what, verdict }) => {
    const [read, sound] = said(what);
    return { what: proofWords[what], read, expected: sound, verdict: verdictWords[verdict] };
  });
}

/** 'WD-1/TT, 12 °C, dry, ohmmeter 4' */
export function conditions({ test, judged }: JudgedTest, units: Units): string {
  const { readings } = test;
  if (!readings) return '';
  const wire = judged?.expected.wire;
  return [
    ...(typeof wire === 'string' && wire in wireWords ? [wireWords[wire as NamedWire]] : []),
    ...(judged ? [`${distance(judged.expected.wire_m, units)} of wire`] : []),
    ...(typeof readings.temperature_c === 'number' ? [temperatureWords(readings.temperature_c, units)] : []),
    ...(readings.weather ? [weatherWords[readings.weather]] : []),
    ...(readings.instrument ? [readings.instrument] : []),
  ].join(', ');
}
