import type { ParametersOf, ParameterTable } from '../foundation/parameters.ts';

/** Parameters of the watch for faults. */
export const watchParams = {
  falseAlarmRate: {
    default: 0.05,
    unit: '',
    min: 0.001,
    max: 0.5,
    meaning: 'chance that a practice names any fault of a player who has none, looked at after every shot',
    small: 'faults are named later',
    large: 'more false alarms',
    source: 'usual choice',
  },
  measuresAtEdge: {
    default: 1,
    unit: '',
    min: 1,
    max: 20,
    integer: true,
    meaning:
      'rules for which a faultless player may stand at the very edge of the band at once; the rate is shared among them',
    small: 'faults are named sooner; the rate holds for players who are well inside most bands',
    large: 'the rate holds even for players at the edge of many bands; faults are named later',
    source:
      'choice; players inside the bands add next to nothing, and three at the edge stayed within the rate in the proof',
  },
  leastShots: {
    default: 6,
    unit: '',
    min: 3,
    max: 50,
    integer: true,
    meaning: 'shots with the measure before anything is named',
    small: 'a fault may be named on very few shots',
    large: 'faults are named later',
    source: 'choice: never on one shot',
  },
  serialCorrelation: {
    default: 0.25,
    unit: '',
    min: 0,
    max: 0.9,
    meaning: 'correlation of neighbouring shots that is allowed for',
    small: 'more false alarms for players whose shots hang together',
    large: 'faults are named later',
    source: 'choice; no source for shots was found',
  },
  effectSds: {
    default: 2,
    unit: '',
    min: 0.1,
    max: 10,
    meaning: 'how far beyond the edge faults are looked for, in spreads from shot to shot',
    small: 'small faults are found sooner, large ones later',
    large: 'large faults are found sooner, small ones later',
    source: 'choice',
  },
  commonErrorShare: {
    default: 0.5,
    unit: '',
    min: 0,
    max: 1,
    meaning:
      "share of the sensor's error, in square, that is the same for all shots of a practice and no number of shots takes away",
    small: 'a sensor that is off by its stated error may look like a fault',
    large: 'faults near the edge are not named with a poor sensor',
    source: 'choice',
  },
  clipSpreads: {
    default: 6,
    unit: '',
    min: 2,
    max: 100,
    meaning: 'values farther than this many usual spreads beyond the band count as that far',
    small: 'strong faults look weaker',
    large: 'one wild value hides a fault',
    source: 'choice',
  },
  farFromM: {
    default: 6,
    unit: 'm',
    min: 1,
    max: 12,
    meaning: 'distance from which on a shot counts as far; to be set below the line of the player',
    small: 'range is judged close to the ring',
    large: 'hardly any shot is far',
    source: 'choice: short of the line of 6.02 m',
  },
} satisfies ParameterTable;

export type WatchParams = ParametersOf<typeof watchParams>;
