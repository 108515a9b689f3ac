import { expect, test } from 'vitest';
import { crewsOf, said, usual } from './crews.ts';

test('what is left empty is not said', () => {
  expect(said(usual())).toEqual({ plan: { light: 'day', lead_means: 'foot', follow_up_means: 'foot' } });
});

test('what was saved comes back as it was written', () => {
  const crews = { ...usual(), light: 'night' as const, leadPeople: '6', followUpPeople: '4', after: '0' };
  const sent = said(crews);
  expect(sent).toMatchObject({ plan: { lead_people: 6, follow_up_people: 4, follow_up_after_min: 0 } });
  if ('plan' in sent) expect(crewsOf(sent.plan)).toEqual(crews);
});

test('a figure that no team can have is named beside its field', () => {
  for (const [field, text] of [
    ['leadPeople', '0'],
    ['leadPeople', '101'],
    ['followUpPeople', '1.5'],
    ['followUpPeople', 'six'],
    ['after', '-1'],
    ['after', '10001'],
  ] as const) {
    const sent = said({ ...usual(), [field]: text });
    expect('wrong' in sent && Object.keys(sent.wrong), `${field} ${text}`).toEqual([field]);
  }
});
