/** With whom and by what a plan is carried out, as it is written on the page and as the service takes it. */
import type { Light, Means, Plan } from '../../api/types.ts';

export interface Crews {
  light: Light;
  lead: Means;
  followUp: Means;
  /** people and minutes as they are typed; empty: not said */
  leadPeople: string;
  followUpPeople: string;
  after: string;
}

export type CrewField = 'leadPeople' | 'followUpPeople' | 'after';
export type Said = Pick<
  Plan,
  'light' | 'lead_means' | 'follow_up_means' | 'lead_people' | 'follow_up_people' | 'follow_up_after_min'
>;

export const usual = (): Crews => ({
  light: 'day',
  lead: 'foot',
  followUp: 'foot',
  leadPeople: '',
  followUpPeople: '',
  after: '',
});

/** As a saved plan has them. */
export const crewsOf = (plan: Said): Crews => ({
  light: plan.light ?? 'day',
  lead: plan.lead_means ?? 'foot',
  followUp: plan.follow_up_means ?? 'foot',
  leadPeople: String(plan.lead_people ?? ''),
  followUpPeople: String(plan.follow_up_people ?? ''),
  after: String(plan.follow_up_after_min ?? ''),
});

/** What the service takes, or what is wrong with each field. */
export function said(crews: Crews): { plan: Said } | { wrong: Partial<Record<CrewField, string>> } {
  const wrong: Partial<Record<CrewField, string>> = {};
  const whole = (field: CrewField, least: number, most: number, words: string): number | null => {
    const text = crews[field].trim();
    if (text === '') return null;
    const figure = /^\d{1,6}$/.test(text) ? Number(text) : NaN;
    if (figure >= least && figure <= most) return figure;
    wrong[field] = `Write ${words} from ${least} to ${most.toLocaleString('en')}, or leave it empty.`;
    return null;
  };
  const lead_people = whole('leadPeople', 1, 100, 'a number');
  const follow_up_people = whole('followUpPeople', 1, 100, 'a number');
  const after = whole('after', 0, 10_000, 'minutes');
  if (Object.keys(wrong).length > 0) return { wrong };
  return {
    plan: {
      light: crews.light,
      lead_means: crews.lead,
      follow_up_means: crews.followUp,
      ...(lead_people === null ? {} : { lead_people }),
      ...(follow_up_people === null ? {} : { follow_up_people }),
      ...(after === null ? {} : { follow_up_after_min: after }),
    },
  };
}
