import { describe, expect, it, test } from 'vitest';
import type { CrossingFeature, LineFeature } from '../../api/types.ts';
import { facts, missing } from './standing.ts';

const now = Date.parse('2026-05-04T14:32:00');
const time = (clock: string) => new Date(`2026-05-04T${clock}:00`).toISOString();

const line = (properties: Partial<LineFeature['properties']>): LineFeature =>
  ({
    id: 'l12',
    properties: {
      from: 'Post',
      to: 'Mill exchange',
      state: 'laying',
      laid_length_m: 4600,
      length_m: 7200,
      head_grid: null,
      reel_left_m: null,
      team: 'Lead 1',
      started_at: time('12:00'),
      through_at: null,
      proved_at: null,
      handed_over_at: null,
      handed_over_to: null,
      proof_lost: null,
      watch: null,
      in_trouble_since: null,
      silent_min: 0,
      silent_since: null,
      ordered_up: null,
      ...properties,
    },
  }) as LineFeature;

const crossing = (
  chainage_m: number,
  state: CrossingFeature['properties']['state'],
  team?: string,
): CrossingFeature =>
  ({
    id: String(chainage_m),
    properties: { line: 'l12', chainage_m, state, obstacle: 'road', in_hand: team ? { team } : null },
  }) as CrossingFeature;

describe('what is missing', () => {
  // As the rules have it: no line is through over a crossing that nobody has reported passed.
  test('before a line is through: wire, crossings that it is not over, and the call from the far end', () => {
    expect(
      missing(
        line({}),
        [crossing(6000, 'foreseen'), crossing(3000, 'marked'), crossing(1000, 'passed')],
        'metric',
      ),
    ).toEqual({
      before: 'it is through',
      items: [
        '2.60 km more are laid, by the plan.',
        'The wire is reported over the road at 3.00 km.',
        'The wire is reported over the road at 6.00 km.',
        'A call from Mill exchange is good.',
      ],
    });
  });

  test('before it is finished: every crossing that is not, and who has it', () => {
    const all = [
      crossing(3000, 'in_hand', 'Follow-up 1'),
      crossing(1000, 'passed'),
      crossing(10, 'finished'),
    ];
    expect(missing(line({ state: 'through' }), all, 'metric')?.items).toEqual([
      'Still to finish: the road at 1.00 km; nobody has it in hand.',
      'Still to finish: the road at 3.00 km; Follow-up 1 has it in hand.',
    ]);
  });

  test('a line in trouble is not proved before it is cleared', () => {
    const { items } =
      missing(line({ state: 'finished', in_trouble_since: time('14:00') }), [], 'metric') ?? {};
    expect(items?.[0]).toBe('The trouble on it is cleared.');
    expect(missing(line({ state: 'finished' }), [], 'metric')?.items).toHaveLength(1);
  });

  it.each(['handed_over', 'recovered'] as const)('of a line that is %s nothing is', (state) =>
    expect(missing(line({ state }), [], 'metric')).toBeNull(),
  );

  test('of a line that is to come up nothing is, and others’ crossings do not hold it up', () => {
    const ordered_up = { at: time('14:00'), confirmed_dead_by: 'Switchboard' };
    expect(missing(line({ ordered_up }), [crossing(1, 'marked')], 'metric')).toBeNull();
    const other = {
      ...crossing(1, 'marked'),
      properties: { ...crossing(1, 'marked').properties, line: 'x' },
    };
    expect(missing(line({ state: 'through' }), [other], 'metric')?.items).toEqual([]);
  });
});

describe('what is known', () => {
  const said = (properties: Partial<LineFeature['properties']>) =>
    Object.fromEntries(facts(line(properties), 'metric', now).map(({ name, words }) => [name, words]));

  test('who is on watch, since when and where', () => {
    expect(said({})['On watch']).toBe('nobody');
    const watch = { who: 'Quill', since: time('14:10'), chainage_m: 7200, team: 'Lead 1' };
    expect(said({ watch })['On watch']).toBe('Quill since 14:10, at 7.20 km, left there by Lead 1');
  });

  test('the time without communication goes on while nobody can speak', () => {
    expect(said({})['Without communication']).toBe('none reported');
    expect(said({ silent_min: 12 })['Without communication']).toBe('12 min');
    expect(said({ silent_min: 12, silent_since: time('14:02') })['Without communication']).toBe(
      '42 min, and still since 14:02',
    );
  });

  test('a proof that was lost says why', () => {
    const proof_lost = { was_proved_at: time('13:00'), because: 'wire_cut' } as const;
    expect(said({ proof_lost })['Proof lost']).toBe(
      'proved at 13:00; since then its wire was cut. It has to be proved again.',
    );
  });
});
