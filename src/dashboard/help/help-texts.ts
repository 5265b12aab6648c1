import { catalogue } from '../locale/catalogue.ts';

/** Words around the help of a measure. What it is and what limits it comes from the service, where it stands once for all. */
export const helpTexts = catalogue('help', {
  title: 'What the measures mean',
  about: (measure: string) => `What “${measure}” means`,
  definition: 'What it is',
  unit: 'Unit here',
  limits: 'What limits it',
  knows: 'Which sensor knows it',
  method: 'How it is found',
  caution: 'Mind',
  close: 'Close',
  all: 'All measures',
  errors:
    'Beside every number stands one standard error (±) or, where the error is lopsided, the 90 % interval. A number that the sensor could not know is left out with the reason.',
  sensors: {
    ball: 'a sensor in the ball',
    arm: 'a sensor on the arm',
    both: 'a sensor in the ball, or one on the arm',
    'arm-modelled': 'a sensor in the ball measures it; one on the arm has a model of it, with a wide interval',
  },
});
