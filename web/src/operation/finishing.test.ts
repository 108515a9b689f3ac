import { describe, expect, it } from 'vitest';
import type { Choice, CrossingFeature } from '../api/types.ts';
import { finished, stillMissing, type Work } from './finishing.svelte.ts';

const item = (id: string) => ({ id, text: id, source: 'a test' });
const overhead: Choice = {
  construction: 'overhead_poles',
  reason: '',
  // SS0440 pp. 29, 31: at least 14 ft over a secondary road; a foot is 0.3048 m.
  least_height_m: 4.2672,
  lasting: true,
  lead: [],
  finish: [item('height'), item('tags')],
  cautions: [],
};
const buried: Choice = { ...overhead, construction: 'buried', least_height_m: null, least_depth_m: 0.1524 };
const ladder: Choice = { ...overhead, construction: 'ladder', least_height_m: null, lasting: false };
const work: Work = { construction: 'overhead_poles', done: ['height', 'tags'], height_m: 4.3, depth_m: null };

describe('what is missing before a crossing is finished', () => {
  it('nothing, when the list is done and the wire hangs high enough', () => {
    expect(stillMissing(overhead, work, 'metric')).toEqual([]);
    // Measured with a tape: what reads the same to a centimetre is the same.
    expect(stillMissing(overhead, { ...work, height_m: 4.265 }, 'metric')).toEqual([]);
  });

  it('a wire below 14 ft is said with the height that is asked, in the chosen units', () => {
    expect(stillMissing(overhead, { ...work, height_m: 4.2 }, 'metric')).toEqual([
      'The wire hangs too low: at least 4.27 m.',
    ]);
    expect(stillMissing(overhead, { ...work, height_m: 4.2 }, 'miles')).toEqual([
      'The wire hangs too low: at least 14 ft.',
    ]);
  });

  it('a height nobody measured, and each thing that is not ticked', () => {
    expect(stillMissing(overhead, { ...work, height_m: null, done: ['tags'] }, 'metric')).toEqual([
      'Measure the height.',
      '1 thing on the list is not ticked.',
    ]);
  });

  it('a stream wants any height above the highest water', () => {
    const stream = { ...overhead, least_height_m: null };
    expect(stillMissing(stream, { ...work, height_m: 0 }, 'metric')).toHaveLength(1);
    expect(stillMissing(stream, { ...work, height_m: 0.5 }, 'metric')).toEqual([]);
  });

  it('a trench wants its depth, and six inches of it', () => {
    expect(stillMissing(buried, work, 'metric')).toEqual(['Measure the depth.']);
    expect(stillMissing(buried, { ...work, depth_m: 0.15 }, 'miles')).toEqual([
      'The trench is too shallow: at least 6 in.',
    ]);
    expect(stillMissing(buried, { ...work, depth_m: 0.1524 }, 'metric')).toEqual([]);
  });

  it('a ladder is never finished', () => {
    expect(stillMissing(ladder, work, 'metric')).toEqual(['A ladder is temporary: choose what replaces it.']);
    expect(stillMissing(null, work, 'metric')).toHaveLength(1);
  });
});

it('the report says only what is on this list and what this construction is measured by', () => {
  const crossing = { id: 'c', properties: { construction: 'ladder' } } as CrossingFeature;
  const doing = { ...work, done: ['height', 'something old', 'tags'], depth_m: 1 };
  expect(finished(crossing, overhead, doing)).toEqual({
    kind: 'crossing_finished',
    crossing: 'c',
    done: ['height', 'tags'],
    construction: 'overhead_poles',
    clearance_m: 4.3,
    depth_m: null,
  });
});
