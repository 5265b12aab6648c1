import { catalogue } from '../locale/catalogue.ts';

/** Texts of the first run and of the minute with a sensor. */
export const firstSteps = catalogue('start', {
  title: 'First steps',
  intro: 'Four steps, each of which can be left out now and done later from Settings.',
  steps: { units: 'Units', player: 'Player', sensor: 'Sensor', minute: 'One minute' },
  stepOf: (number: number, count: number, name: string) => `Step ${number} of ${count}: ${name}`,
  next: 'Next',
  back: 'Back',
  skip: 'Leave this out',
  skipAll: 'Leave all of it out',
  done: 'To the court',
  toBench: 'To the bench',
  playerText:
    'Shots are given to a player who agreed to being recorded. Without a player they are kept as nobody’s, to be given to somebody later.',
  playersHere: (names: string) => `Here already: ${names}.`,
  sensorText: 'Wake the sensor (most wake when they are moved), bring it near, and it appears here by itself.',
  sensorSimulated:
    'No sensor was found when the service started, so a simulated shooter plays. To use a sensor, stop the service, wake the sensor and start again.',
  sensorFound: 'Sensors',
  sensorNone: 'Nothing heard yet.',
  sensorCare:
    'Before each practice look at the ball: one that is swollen, hot, dented at its sensor or smells is not played, charged or pumped up. Wear an arm sensor snug but not tight, on clean, dry skin.',
  minuteText:
    'The first minute shows whether a sensor reads what it should, and gives the analysis what it learns from.',
  minuteSimulated: 'The simulated sensor needs none of it. With a real one it starts here.',
  minuteSensor: 'Which sensor',
  minuteStart: 'Begin',
  minuteAgain: 'Once more',
  minuteStop: 'Stop',
  acts: {
    rest: 'Lay the ball down and leave it still for three seconds.',
    spin: 'Take it up and spin it: a second at more than one turn a second.',
    toss: 'Toss it up softly, with little spin, about half a metre, and catch it.',
    hang: 'Let the arm hang still for three seconds.',
    turns: 'Turn the forearm to and fro, palm forward and palm back, three times or more.',
    done: 'Done.',
  },
  progress: (percent: number) => `${percent} %`,
  found: {
    rest: (error: string) => `At rest it reads 1 g to ${error} m/s².`,
    bias: (rate: string) => `The gyroscope at rest turns at ${rate} °/s; that is taken out.`,
    spin: (rate: string) => `Spun at up to ${rate} rev/s.`,
    flight: (time: string) => `In the air for ${time} s.`,
    swings: (count: number) => `Turned ${count} times.`,
  },
  troubles: {
    'rest-off':
      'At rest it is more than 0.5 m/s² off 1 g: calibrate it (below, or “sensors calibrate”) before its numbers are trusted.',
    clipped: 'It was turned faster than its gyroscope can read. Such shots lose the numbers that need it.',
    'no-gyro': 'It has no gyroscope: only times will be told.',
  },
  minuteMore:
    'Nothing of this minute is kept. The analysis has learnt from it, and goes on learning with every flight.',
  gone: (why: string) => `The sensor was lost: ${why}.`,
  whole: 'Calibration that is kept',
  wholeText:
    'For a sensor out of its ball or strap: six sides, two checks and six turns on a table, about five minutes. What it finds is kept and applied from the next connection of the sensor on.',
  wholeStart: 'Begin the calibration',
  wholeSteps: {
    sides: (missing: string) =>
      `Lay it so that another side points up each time, and leave it still for two seconds. Still to come: ${missing}.`,
    checks: (left: number) => `Lay it slanted, between its sides, and leave it still. Still to come: ${left}.`,
    turns: (left: number) =>
      `Lay it flat against a mark, leave it still, turn it exactly once, back to the mark, and leave it still; then the other way round; then with two other sides up. Still to come: ${left}.`,
    done: 'Done.',
  },
  taken: { position: (side: string) => `${side} up: taken.`, check: (off: string) => `Check: ${off} m/s² off 1 g.` },
  turned: (side: string, degrees: string) => `Turn with ${side} up: read as ${degrees}°.`,
  refused: (why: string) => `Not taken: ${why}.`,
  keeping: 'It is being kept …',
  kept: 'Kept.',
  notKept: (why: string) => `It could not be kept: ${why}`,
});
