import { nullReasons } from '../foundation/measured.ts';
import type { RejectedDocument, WireSensor } from '../server/wire/live-document.ts';
import type { ShotMeasureName, WireShot } from '../server/wire/shot-document.ts';
import type { HeldState } from './held-sensor.ts';

/** Every text of the page. */
export const texts = {
  name: 'Seamwise',
  screens: { court: 'Court', live: 'Live', devices: 'Devices', settings: 'Settings' },
  screensLabel: 'Screens',
  court: {
    title: 'The last shot',
    waiting: 'Waiting for the first shot',
    inFlight: 'in flight',
    bands: { inside: 'as usual', above: 'more than usual', below: 'less than usual', unsure: 'at the edge of usual' },
    bandUnknown: (missing: number) =>
      missing === 1 ? 'usual range after 1 more shot' : `usual range after ${missing} more shots`,
    bandRange: (low: string, high: string, count: number) => `usual ${low} to ${high}, of ${count} shots`,
    startSound: 'Start sound',
    soundOn: 'Sound is on',
    words: { inside: 'same', above: 'more', below: 'less', unsure: 'close' },
    hurts: 'Something hurts',
    hurtsTitle: 'Stop here.',
    hurtsText:
      'Pain means stop: no more shots today. Tell your coach or whoever looks after you, and see a clinician before you go on if it stays, comes back, ' +
      'or came with a fall, a crack or swelling. Nothing about this is stored.',
    hurtsBack: 'Back',
    watchBall:
      'Watch the ball, not the screen. Keep this device and its cable clear of run-off and rebounds. No earphones on a shared court.',
  },
  devices: {
    title: 'Devices of this network',
    loopbackOnly:
      'Only this machine is served. To let phones and tablets in, stop the service and start it with "npm start -- --lan".',
    notHost: 'Devices are let in and out on the machine of the service.',
    open: { viewer: 'Let a viewer in', player: 'Let a player in', coach: 'Let a coach in' },
    roles: { viewer: 'viewer', player: 'player', coach: 'coach' },
    roleNotes: {
      viewer: 'sees shots as they come',
      player: 'also says makes and misses and connects a sensor',
      coach: 'also changes players, sets and sessions; let in after you agree here',
    },
    code: 'Code',
    openOn: (url: string) => `Open ${url} on the device, or point its camera at the square, and name this code:`,
    ends: (seconds: number, tries: number) => `Holds for ${seconds} s and ${tries} tries.`,
    cancel: 'Let nobody in',
    asks: (name: string) => `“${name}” wants to come in as coach.`,
    agree: 'Let it in',
    refuse: 'Refuse',
    closed: {
      none: '',
      used: 'A device came in.',
      expired: 'The time of the code is over.',
      tries: 'Wrong codes were tried too often; the code holds no more.',
      cancelled: 'The code holds no more.',
      refused: 'The device was refused.',
    },
    list: 'Let in',
    nobody: 'No device was let in yet.',
    since: (date: string) => `since ${date}`,
    seen: (date: string) => `last seen ${date}`,
    remove: 'Remove',
    plainHttp:
      'This page came by plain http: others in the network can read along, and the device can neither keep its screen on nor work off-line. Start with --tls-cert and --tls-key for https.',
  },
  pair: {
    title: 'Pair this device',
    code: 'The six digits from the machine of the service',
    name: 'What this device is called there',
    suggestedName: 'phone or tablet',
    send: 'Pair',
    wait: 'Waiting until the host lets this device in.',
    done: 'Paired.',
    toShots: 'To the shots',
  },
  settings: {
    title: 'Settings of this browser',
    figures: 'Large figures on the court screen (two or three)',
    theme: 'Appearance',
    themes: { system: 'as the system', light: 'light', dark: 'dark', contrast: 'high contrast' },
    units: 'Lengths and speeds',
    unitSystems: { metric: 'metric', us: 'feet and inches' },
    spin: 'Spin',
    hand: 'Shooting hand',
    hands: { right: 'right', left: 'left' },
    sound: 'After each shot',
    sounds: {
      off: 'silence',
      tone: 'a tone: higher for more spin, longer for a slower release',
      word: 'one word: same, more or less than usual of the first figure',
    },
    volume: 'Loudness',
    vibrate: 'Tremble too: once as usual, three times above, one long below',
  },
  failed: (message: string) => `That did not work: ${message}`,
  unreachable: 'the service did not answer',
  simulated: 'Simulated shooter',
  simulatedMore: 'No sensor is connected. These shots are made up to show how the page works.',
  latestShot: 'Latest shot',
  noShotYet: 'No shot yet',
  noShotYetMore: 'The first one appears here a quarter of a second after the ball leaves the hand.',
  first: 'First numbers',
  firstMore: 'the rest follows when the ball lands',
  final: 'Final',
  unfinished: 'Unfinished',
  unfinishedMore: 'the service was stopped before the ball landed',
  figures: {
    pickupToReleaseS: 'Pickup to release',
    backspinRps: 'Backspin',
    launchAngleDeg: 'Launch angle',
  },
  axis: 'Spin axis:',
  sidespin: 'Sidespin:',
  totalSpin: 'Total spin',
  announced: 'New shot',
  plusMinus: (error: string) => `± ${error}`,
  interval: (low: string, high: string) => (low === high ? low : `${low} to ${high}`),
  inBrackets: (text: string) => `(${text})`,
  labelWithUnit: (label: string, unit: string) => (unit === '°' ? label : `${label}, ${unit}`),
  withUnit: (value: string, unit: string) => (unit === '°' ? `${value}°` : `${value} ${unit}`),
  sides: {
    'left-right': { positive: 'left', negative: 'right' },
    'off-hand': { positive: 'away from the off hand', negative: 'toward the off hand' },
    turning: { positive: 'clockwise from behind', negative: 'anticlockwise from behind' },
  },
  missing: 'not measured',
  reason: reasonText,
  missingMark: '–',
  strip: (label: string, count: number, low: string, high: string, unit: string) =>
    `${label}, last ${count} shots: from ${low} to ${high} ${unit}`,
  stripMore: 'Dot: one shot. Line: its 90 % interval. Newest on the right.',
  list: 'Shots',
  listNote:
    '± is one standard error. A dash is a number that the sensor could not know: press the time for the reason. Left and right are the shooter’s.',
  columns: {
    time: 'Time',
    start: 'Start',
    contact: 'First contact',
  },
  showDetails: (time: string) => `All measures of the shot at ${time}`,
  groups: { timing: 'Timing', spin: 'Spin', flight: 'Flight', hands: 'In the hands', arm: 'Arm' },
  inFlight: 'in flight',
  notCounted: (time: string, kind: string, reason: string) => `Not counted as a shot (${time}): ${kind}; ${reason}.`,
  sensors: 'Sensors',
  source: 'Connection to the sensors',
  connectSensor: 'Connect a sensor',
  battery: (percent: number) => `battery ${percent} %`,
  firmware: (model: string | null, revision: string | null) =>
    [model, revision === null ? null : `firmware ${revision}`].filter((part) => part !== null).join(', '),
  identify: 'Make it blink',
  sensorName: (sensorId: string) => `Ball ${sensorId.slice(0, 4)}`,
  sensorRate: (rateHz: number) => `${rateHz.toFixed(0)} samples/s`,
  sensorLost: (lost: number, all: number) =>
    lost === 0 ? 'nothing lost' : `${((100 * lost) / Math.max(1, all + lost)).toFixed(1)} % lost`,
  connection: {
    connecting: 'Connecting',
    open: 'Connected',
    lost: 'Connection lost. Trying again.',
  },
  staleNote: 'What stands here may be old.',
  incomplete: 'Some shots were made while this page was away too long, and are not shown.',
  newVersion: 'A new version of the service is running.',
  reload: 'Load the page again',
  cautionsTitle: 'Cautions',
  cautionsShort:
    'Pain means stop. Ask a clinician about any injury. Growing players need days of rest. ' +
    'A ball with a cell inside is not to be crushed, heated or soaked.',
  cautionsMore: 'All cautions',
  cautions: [
    [
      'Pain means stop',
      'Stop shooting when something hurts. See a clinician before you go on if pain stays, comes back or wakes you, or after any injury. No number on this page is a reason to shoot through pain.',
    ],
    [
      'A measuring tool, not medical advice',
      'It measures how a ball leaves the hand. It does not diagnose, treat or clear anyone to play. What licensed practitioners, your league and your local rules say goes first.',
    ],
    [
      'Rest, above all for the young',
      'Growing players need days without throwing and shooting every week, and fewer shots when they are tired. A tired shot is measured as well as a fresh one; that does not make it worth taking.',
    ],
    [
      'The lithium cell in the ball',
      'Do not use, charge or throw a ball whose cell or case is swollen, hot, wet, dented or leaking. Charge it where someone is near and nothing can catch fire. Do not pump the ball beyond its mark. Dispose of cells by local rules.',
    ],
    [
      'A sensor on the skin',
      'Keep skin and strap clean and dry, never wear it over broken skin, and take it off at any itching, redness, numbness or swelling. Take it off before contact play: a hard case can hurt you and others, and many rules forbid it.',
    ],
  ] as readonly (readonly [string, string])[],
} as const;

export const measureLabels: Readonly<Record<ShotMeasureName, string>> = {
  pickupToReleaseS: 'Pickup to release',
  liftToReleaseS: 'Lift to release',
  pauseS: 'Pause',
  dipDepthM: 'Dip',
  sidePathM: 'Side path',
  flightS: 'Flight',
  spinRps: 'Total spin',
  backspinRps: 'Backspin',
  sidespinRps: 'Sidespin',
  rifleSpinRps: 'Rifle spin',
  axisTiltDeg: 'Axis tilt',
  launchSpeedMps: 'Launch speed',
  launchAngleDeg: 'Launch angle',
  entryAngleDeg: 'Entry angle',
  apexM: 'Rise above release',
  speedMarginMps: 'Speed to spare',
  contactHardnessMps: 'Hardness of contact',
  sidewaysImpulseMps: 'Sideways push',
  spinBeforeLiftRps: 'Spin before lift',
  snapPeakDegps: 'Snap',
  snapToReleaseS: 'Snap before release',
  forearmElevationDeg: 'Forearm above level',
  pathPlanarity: 'Path off its plane',
  followThroughS: 'Follow-through',
  headingChangeDeg: 'Turn in the air',
};

export const startTexts: Readonly<Record<WireShot['startKind'], string>> = {
  dribble: 'off the dribble',
  catch: 'off the catch',
  hold: 'from a hold',
  unknown: 'start not seen',
};

export const contactTexts: Readonly<Record<WireShot['contactKind'], string>> = {
  ring: 'ring',
  board: 'board',
  net: 'net',
  floor: 'floor',
  hands: 'hands',
  unknown: 'not seen',
};

export const pauseTexts = { low: 'low', high: 'high' } as const;

export const rejectedTexts: Readonly<Record<RejectedDocument['rejected']['kind'], string>> = {
  pass: 'a pass',
  dribble: 'a dribble',
  toss: 'a toss',
  drop: 'a drop',
  rebound: 'a rebound',
  'not-flight': 'no free flight',
  undecided: 'undecided',
  'layup-like': 'like a layup',
  'pump-fake': 'a pump fake',
  throw: 'a throw',
  'other-movement': 'another movement',
};

export const sensorStateTexts: Readonly<Record<WireSensor['state'], string>> = {
  searching: 'not in reach',
  found: 'found',
  connecting: 'connecting',
  streaming: 'sending',
  quiet: 'connected, but silent',
  lost: 'out of reach',
  unavailable: 'cannot be reached here',
  ended: 'ended',
};

export const heldStateTexts: Readonly<Record<HeldState, string>> = {
  connecting: 'connecting',
  streaming: 'connected to this page',
  lost: 'connection lost, trying again.',
  refused: 'not taken.',
};

/** @returns the sentence for a missing number; a reason that this page does not know is shown as it came. */
export function reasonText(reason: string): string {
  if (reason === 'too-early') return 'known when the ball lands';
  return (nullReasons as Readonly<Record<string, string>>)[reason] ?? reason;
}
