// Longer than most: a catalogue is all of its texts.
import { nullReasons } from '../foundation/measured.ts';
import type { RejectedDocument, WireSensor } from '../server/wire/live-document.ts';
import type { ShotMeasureName, WireShot } from '../server/wire/shot-document.ts';
import { coachingTexts } from './coaching/coaching-texts.ts';
import type { HeldState } from './held-sensor.ts';
import { catalogue, pluralOf } from './locale/catalogue.ts';
import { shownNumber } from './locale/numbers.ts';

/** Every text of the page that is not in a catalogue of its own beside its screen. */
export const texts = catalogue('page', {
  name: 'Seamwise',
  screens: {
    court: 'Court',
    bench: 'Bench',
    coaching: 'Coaching',
    live: 'Live',
    sessions: 'Sessions',
    devices: 'Devices',
    settings: 'Settings',
  },
  screensLabel: 'Screens',
  coaching: coachingTexts,
  court: {
    title: 'The last shot',
    waiting: 'Waiting for the first shot',
    inFlight: 'in flight',
    bands: { inside: 'as usual', above: 'more than usual', below: 'less than usual', unsure: 'at the edge of usual' },
    bandFurther: (side: string) => `further ${side} than usual`,
    bandUnknown: (missing: number) =>
      missing === 1 ? 'usual range after 1 more shot' : `usual range after ${missing} more shots`,
    bandRange: (low: string, high: string, count: number) => `usual ${low} to ${high}, of ${count} shots`,
    outcomes: { make: 'Made', miss: 'Missed' },
    shooter: (name: string) => `Shot by ${name}`,
    startSound: 'Start sound',
    soundOn: 'Sound is on',
    words: { inside: 'same', above: 'more', below: 'less', unsure: 'close' },
    hurts: 'Something hurts',
    hurtsTitle: 'Stop here.',
    hurtsText:
      'Pain means stop: no more shots today. Tell your coach or whoever looks after you, and see a clinician before you go on if it stays, comes back, ' +
      'or came with a fall, a crack or swelling.',
    hurtsEnding: 'The set is being ended …',
    hurtsEnded: (count: number) =>
      count === 0 ? 'No set was running. Nothing about this is stored.' : 'The set has ended. Why is stored nowhere.',
    hurtsNotEnded: (why: string) =>
      `The set could not be ended from here (${why}): have it ended on the bench. Nothing about this is stored.`,
    hurtsBack: 'Back',
    watchBall:
      'Watch the ball, not the screen. Keep this device and its cable clear of run-off and rebounds. No earphones on a shared court.',
  },
  sessions: {
    title: 'Sessions',
    none: 'No session yet. The first shot begins one.',
    simulated: 'simulated',
    running: 'running now',
    setsTitle: 'Sets',
    shots: (count: number) => (count === 1 ? '1 shot' : `${count} shots`),
    sets: (count: number) => (count === 1 ? '1 set' : `${count} sets`),
    unnamed: 'unnamed',
    columns: { start: 'Start', name: 'Name', shots: 'Shots', recording: 'Recording', keep: 'Kept' },
    noRecording: 'none',
    deleted: (date: string) => `not kept since ${date}`,
    star: 'Always keep',
    starred: 'Always kept',
    starOf: (name: string) => `Always keep the recording of ${name}`,
    more: 'Earlier ones',
    back: 'All sessions',
    name: 'Name',
    notes: 'Notes',
    keep: 'Keep',
    kept: 'Kept.',
    totalOf: (name: string, made: number, attempted: number) => `${name}: ${made} of ${attempted}`,
    import: 'Import recordings',
    export: 'Export for research',
    liveSignals: 'Signals as they come',
  },
  hubWork: {
    title: 'Work of the hub',
    sums: (running: number, waiting: number, parked: number, done: number) =>
      `${running} running, ${waiting} waiting, ${parked} put aside, ${done} done`,
    none: 'Nothing was asked of the workers yet.',
    again: 'Go through new recordings again',
    export: 'Write an export',
    withSamples: 'with samples and raw recordings',
    note: 'Workers do it, on any machine: "seamwise hub work" starts one.',
    asked: (count: number) =>
      count === 0
        ? 'No recording is new here: this version of the analysis has gone through all that were handed over'
        : count === 1
          ? '1 recording is to be gone through'
          : `${count} recordings are to be gone through`,
    columns: { what: 'What', state: 'State', worker: 'Worker', asked: 'Asked', change: 'Change' },
    kinds: { reanalysis: 'Recording', export: 'Export' },
    gone: 'a session that is gone',
    states: { waiting: 'waits', running: 'runs', done: 'done', parked: 'put aside', stopped: 'stopped' },
    failed: (tries: number) => (tries === 1 ? 'failed once, is tried again' : `failed ${tries} times, is tried again`),
    progress: (percent: number) => `${percent} %`,
    found: (again: number, added: number) => `${again === 1 ? '1 shot' : `${again} shots`} found again, ${added} new`,
    written: (shots: number) => (shots === 1 ? '1 shot' : `${shots} shots`),
    askedBy: (date: string, name: string) => `${date}, ${name}`,
    stop: 'Stop',
    letGo: 'Let go',
    tryAgain: 'Try again',
    download: 'Download',
  },
  pictures: {
    flight: 'The flight from the side; the band holds it with 90 %',
    axis: 'The ball from behind with the axis it spins about; the thin lines are its 90 % interval',
    timing: 'From pickup to release; the brackets are 90 % intervals',
    times: { pickup: 'pickup', lift: 'lift', release: 'release' },
    noFlight: 'No picture of the flight: its speed, angle or time is not known.',
    noAxis: 'No picture of the axis: its tilt is not known.',
    noTiming: 'No picture of the times: pickup or release is not known.',
  },
  bench: {
    title: 'Bench',
    noSession: 'The practice begins with the first shot.',
    shooter: 'Who shoots',
    shooterOf: (placement: string, label: string) => `with ${placement} ${label}`,
    nobody: 'nobody',
    shooterNote:
      'One tap gives the shots of a sensor to a player from now on. Only players whose consent to recording is noted can be chosen.',
    armCare: 'An arm sensor comes off before contact play: a hard case hurts its wearer and others.',
    courtCare: 'This screen, cables and phones stand clear of run-off and rebounds.',
    noSensor: 'No sensor has been in a practice yet.',
    awaySensors: (count: number) =>
      pluralOf(count, { one: '1 sensor that is not here now', other: `${count} sensors that are not here now` }),
    noPlayer: 'No player yet. Add the first one below.',
    round: 'In turn',
    roundChoose: 'Choose who shoots in turn',
    roundEach: 'Shots each',
    roundStart: 'Start a round with the chosen players',
    roundEnd: 'End the round',
    roundSensor: 'Which ball',
    roundAnySensor: 'every ball that is nobody’s',
    roundNext: (name: string, left: number) =>
      left === 1 ? `${name} shoots, 1 shot left` : `${name} shoots, ${left} shots left`,
    roundSkip: 'Next player',
    addPlayer: 'Add a player',
    pseudonym: 'Name here (a made-up one is best)',
    hand: 'Shooting hand',
    ageBand: 'Age',
    ageBands: { 'under-10': 'under 10', '10-12': '10 to 12', '13-15': '13 to 15', '16-18': '16 to 18', adult: 'adult' },
    courts: 'Courts: the last shot of each',
    court: 'Court',
    agreedUpload: 'What is recorded may be handed over to the club’s hub, where other courts and coaches see it',
    agreedExport: 'The shots may go out to a researcher, without the name',
    agreedDisplay: 'The name may stand on screens that others see',
    agreedBy: 'Who agreed to recording',
    agreedByNobody: 'nobody yet',
    agreedByRoles: { player: 'player', parent: 'parent', guardian: 'guardian' },
    agreedNote: 'Of a minor the parent or guardian, by the rules of your country.',
    add: 'Add',
    set: 'Set',
    setRuns: (name: string) => `Set runs: ${name}`,
    setStart: 'Start a set',
    setEnd: 'End the set',
    setKinds: { drill: 'drill', test: 'test', free: 'free shooting' },
    setKind: 'Kind',
    setName: 'Name',
    spot: 'Spot',
    distance: 'Distance, m',
    conditions: 'Conditions, as in: footwork = hop, dip = none',
    conditionsOdd: (part: string) =>
      `“${part}” cannot be read: expected a condition and its level, as in footwork = hop`,
    everybody: 'everybody',
    setPlayer: 'Player',
    total: 'Made of attempted, where single shots were not told',
    made: 'made',
    attempted: 'attempted',
    keepTotal: 'Keep',
    totalOdd: 'Expected two whole numbers, not more made than attempted.',
    shots: 'Shots of this practice',
    noShots: 'No shot yet.',
    chosen: (count: number) => (count === 1 ? '1 shot chosen' : `${count} shots chosen`),
    choose: (number: number) => `Choose shot ${number}`,
    earlierShots: (count: number) =>
      count === 1 ? 'Earlier ones (1 more shot)' : `Earlier ones (${count} more shots)`,
    chooseNote: 'Choose one shot, then another with the Shift key (or “up to here”) for all between.',
    upToHere: 'Up to here',
    none: 'Choose none',
    giveTo: 'Give to',
    outcomes: { make: 'made', miss: 'missed', unknown: 'not told' },
    keys: 'Keys: M made, X missed, U not told, for the chosen or else the newest shot; Z takes the last change back.',
    undo: 'Take the last change back',
    columns: { number: 'Shot', player: 'Player', outcome: 'Outcome', set: 'Set', byHand: 'Times by hand' },
    byHand: (phase: string, ms: string | null) => (ms === null ? phase : `${phase} ${ms} ms`),
    latest: 'Newest shot',
    trend: (measure: string) => `${measure}, shot by shot`,
    trendMeasure: 'Measure',
    trendCut: 'A dashed bar goes on beyond the picture: that number is too unsure for its scale.',
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
    care: 'Phones, tablets and their cables stay clear of run-off and rebounds. Who shoots watches the ball, not the screen. No earphones on a shared court.',
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
    spinUnits: { 'rev/s': 'turns a second (rev/s)', rpm: 'turns a minute (rpm)' },
    hand: 'Shooting hand',
    hands: { right: 'right', left: 'left' },
    sound: 'After each shot',
    sounds: {
      off: 'silence',
      tone: 'a tone: higher for more spin, longer for a slower release',
      word: 'one word: same, more or less than usual of the first figure',
    },
    volume: 'Loudness',
    vibrate: 'Vibrate too: once for usual, three times for above, one long for below',
    mediaKeys:
      'Media buttons of a headset or remote on Court: forward made, backward missed, pause takes it back (needs “Start sound”)',
    more: 'More',
    app: 'On this device',
    appInstall:
      'The browser’s menu can put this page on the home screen: it then opens alone, without bars, and suits the system’s single-app mode.',
    appAwake: 'While Court is shown the screen stays on.',
    appMissing:
      'This page came by plain http. What needs https is missing: keeping the screen on, starting without the network, speaking to media buttons in some browsers. Start the service with --tls-cert and --tls-key, or open the page on the machine of the service itself.',
    appNoAwake: 'This browser cannot keep the screen on: set the device not to sleep.',
  },
  failed: (message: string) => `That did not work: ${message}`,
  loading: 'Being opened …',
  screenFailed: (message: string) =>
    `This screen could not be drawn (${message}). The other screens are not touched by it, and nothing that was stored is lost.`,
  tryAgain: 'Try again',
  unreachable: 'the service did not answer',
  notKept: 'Not everything is kept at the moment',
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
  tooEarly: 'known when the ball lands',
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
  sensorName: (sensorId: string) => `Sensor ${sensorId.slice(0, 4)}`,
  placements: {
    ball: 'ball',
    'wrist-forearm': 'arm sensor',
    'back-of-hand': 'hand sensor',
    unspecified: 'sensor',
    unknown: 'sensor',
  } as Readonly<Record<string, string>>,
  sensorRate: (rateHz: number) => `${shownNumber(rateHz, 0)} samples/s`,
  sensorLost: (lost: number, all: number) =>
    lost === 0 ? 'nothing lost' : `${shownNumber((100 * lost) / Math.max(1, all + lost), 1)} % lost`,
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
} as const);

export const measureLabels: Readonly<Record<ShotMeasureName, string>> = catalogue('measureLabels', {
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
});

export const startTexts: Readonly<Record<WireShot['startKind'], string>> = catalogue('startTexts', {
  dribble: 'off the dribble',
  catch: 'off the catch',
  hold: 'from a hold',
  unknown: 'start not seen',
});

export const contactTexts: Readonly<Record<WireShot['contactKind'], string>> = catalogue('contactTexts', {
  ring: 'ring',
  board: 'board',
  net: 'net',
  floor: 'floor',
  hands: 'hands',
  unknown: 'not seen',
});

export const pauseTexts = catalogue('pauseTexts', { low: 'low', high: 'high' });

export const rejectedTexts: Readonly<Record<RejectedDocument['rejected']['kind'], string>> = catalogue(
  'rejectedTexts',
  {
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
  },
);

export const sensorStateTexts: Readonly<Record<WireSensor['state'], string>> = catalogue('sensorStateTexts', {
  searching: 'not in reach',
  found: 'found',
  connecting: 'connecting',
  streaming: 'sending',
  quiet: 'connected, but silent',
  lost: 'out of reach',
  unavailable: 'cannot be reached here',
  ended: 'ended',
});

export const heldStateTexts: Readonly<Record<HeldState, string>> = catalogue('heldStateTexts', {
  connecting: 'connecting',
  streaming: 'connected to this page',
  lost: 'connection lost, trying again.',
  refused: 'not taken.',
});

const reasons: Readonly<Record<string, string>> = catalogue('reasons', { ...nullReasons });

/** @returns the sentence for a missing number; a reason that this page does not know is shown as it came. */
export function reasonText(reason: string): string {
  if (reason === 'too-early') return texts.tooEarly;
  return reasons[reason] ?? reason;
}
