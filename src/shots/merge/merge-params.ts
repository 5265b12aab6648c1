import type { ParametersOf, ParameterTable } from '../../foundation/parameters.ts';

const noSource = 'common practice, no source';

/** Parameters of putting the shots of a ball and of an arm sensor together. */
export const mergeParams = {
  gateS: {
    default: 0.35,
    unit: 's',
    min: 0.02,
    max: 2,
    meaning: 'releases further apart than this, and than four standard errors, are of different shots',
    small: 'a poorly placed release stands alone',
    large: 'a shot and the tap that follows it are taken for one',
    source: `${noSource}: two throws of one player are at least a second apart`,
  },
  hostDelaySdS: {
    default: 0.015,
    unit: 's',
    min: 0,
    max: 1,
    meaning: 'how much the least delays of two radios differ, which the fit of host times cannot see',
    small: 'two clocks are believed to agree too well',
    large: 'times of the two sensors are hardly compared',
    source: `${noSource}: half a connection interval of 30 ms`,
  },
  flightS: {
    default: 0.95,
    unit: 's',
    min: 0.2,
    max: 3,
    meaning: 'flight of a ball whose release was lost, from its contact back',
    small: 'such a shot finds no partner from afar',
    large: 'such a shot finds no partner from near',
    source: 'vacuum flight of a free throw at 45 to 60°, 0.82 to 1.14 s',
  },
  flightSdS: {
    default: 0.25,
    unit: 's',
    min: 0.01,
    max: 2,
    meaning: 'its spread',
    small: 'such a shot finds no partner',
    large: 'such a shot may find a wrong partner',
    source: noSource,
  },
  differSigmas: {
    default: 2.6,
    unit: '',
    min: 1,
    max: 10,
    meaning: 'two values further apart than this many of their joint standard errors disagree',
    small: 'chance is flagged',
    large: 'disagreement passes',
    source: 'one in a hundred by chance, normal distribution',
  },
  bodySdM: {
    default: 0.06,
    unit: 'm',
    min: 0,
    max: 1,
    meaning: "how much the wrist's dip or side path truly differs from the ball's",
    small: 'different bodies are flagged as disagreement',
    large: 'disagreement passes',
    source: `${noSource}: the ball turns about the wrist by a third of its way from wrist to centre, 0.2 m`,
  },
  bodySdS: {
    default: 0.03,
    unit: 's',
    min: 0,
    max: 1,
    meaning: "how much the wrist's lift or pause truly differs from the ball's",
    small: 'different bodies are flagged as disagreement',
    large: 'disagreement passes',
    source: noSource,
  },
  waitS: {
    default: 6,
    unit: 's',
    min: 0.5,
    max: 60,
    meaning: 'host time that a shot waits for the other sensor',
    small: 'late sensors give two records of one shot',
    large: 'a shot of one sensor is told late',
    source: `${noSource}: the longest flight, the settling of both paths and a slow radio`,
  },
} as const satisfies ParameterTable;

export type MergeParams = ParametersOf<typeof mergeParams>;
