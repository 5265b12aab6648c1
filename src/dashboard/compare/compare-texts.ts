import { catalogue } from '../locale/catalogue.ts';

export const compareTexts = catalogue('compare', {
  title: 'Side by side',
  back: 'To the bench',
  link: 'Compare two players or two sets',
  note: 'For a talk with those two, not for a screen that all see: who is “better” cannot be read here.',
  what: 'Compare',
  whats: { player: 'two players', set: 'two sets of this practice' },
  one: 'One',
  two: 'Other',
  measure: 'Measure',
  where: 'Shots of',
  wheres: { current: 'this practice', all: 'all practices' },
  tooFew: { player: 'It takes two players.', set: 'It takes two sets in this practice.' },
  choose: 'Choose two that are not the same.',
  /** The sentence: whether a difference can be told at all. */
  differ: (measure: string, high: string, low: string, by: string, from: string, to: string) =>
    `${measure}: ${high} lies above ${low} by ${by} (95 % interval ${from} to ${to}).`,
  open: (measure: string, from: string, to: string) =>
    `${measure}: a difference cannot be told. It lies between ${from} and ${to} (95 % interval); nothing at all is possible.`,
  noShots: (measure: string, name: string) =>
    `${measure}: nothing to compare yet. ${name} has no shot with this number.`,
  tooFewShots: (measure: string, count: number) =>
    `${measure}: too little to say whether there is a difference. In one practice each side needs ${count} shots with the number.`,
  tooFewPractices: (measure: string) =>
    `${measure}: too little to say whether there is a difference. Shots of different days need two practices or more on each side, since how much a player differs from day to day has to be known.`,
  basis: {
    practices: 'Practices are what is counted here, each as one, however many shots it has.',
    shots:
      'Shots of one practice are what is counted here, with allowance for shots that hang together. It says nothing of another day, and what came first, warmth and tiredness are in it.',
  },
  look: 'This is one look. Who looks at many measures, or again after every shot, will now and then see a difference that is none.',
  notes: {
    'different-sensors': 'Not the same sensors: what one reads a little higher is in the difference.',
    'different-starts': 'Shots that begin otherwise (dribble, catch, hold) make this number differ by themselves.',
    modelled: 'Some numbers come from a model that is not calibrated for the player.',
    'same-shots': 'Some shots stand on both sides.',
    cut: 'Drawn are the newest 400 shots of a side.',
  },
  chart: (measure: string) => `${measure}: every shot with its standard error, and the median with its 90 % interval`,
  trend: (measure: string) => `${measure}, shot by shot on both sides`,
  legend: 'Dots: shots, thin lines their standard errors. Bar: middle half. Long mark: median with its 90 % interval.',
  legendTrend: 'Filled: one side. Hollow: the other. A shot without the number leaves a gap.',
  table: 'As a table',
  columns: {
    side: 'Side',
    shots: 'Shots with the number',
    practices: 'Practices',
    median: 'Median',
    interval: '90 % interval',
    half: 'Middle half',
  },
  counted: (count: number, all: number) => `${count} of ${all}`,
  none: 'not enough',
  shotColumns: { number: 'Shot', value: (side: string) => side },
  setName: (number: number, words: string) => `Set ${number}: ${words}`,
});
