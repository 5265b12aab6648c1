import { Worker } from 'node:worker_threads';
import { merge, Observable } from 'rxjs';
import type { SensorNotification } from '../../foundation/sensor-notification.ts';
import type { ChainSummary } from '../../live/notification-chain.ts';
import type { SensorSetup } from '../../live/sensor-setup.ts';
import type { PathEvent, SensorStateChange, StreamBlock } from '../../live/sensor-streams.ts';
import type { BallSettings } from '../../shots/shot.ts';
import type { FromThread, ThreadStart, ToThread } from './thread-messages.ts';

export interface AnalysisThreadsOptions {
  readonly settings: BallSettings;
  /** How many threads share the sensors, at least 1. */
  readonly threadCount: number;
  readonly notifications: Observable<SensorNotification>;
  readonly states: Observable<SensorStateChange>;
  /** What is known of a sensor, asked when its stream opens; its packets wait meanwhile. Never rejects. */
  readonly setupOf?: (sensorId: string) => Promise<SensorSetup>;
  /** A thread that gives no sign for so many seconds is replaced; default 20. */
  readonly hungAfterS?: number;
  /** Another worker than that of `analysis-thread.ts`, with its messages. */
  readonly threadFile?: URL;
}

/** How often a thread is asked for its counts. */
const askMs = 1000;
const usualHungAfterS = 20;
/** A worker that still loads: on a slow machine that takes long, and starting it anew would only begin it again. */
const longestLoadingS = 300;
const restartMs = 500;

interface SensorPlace {
  readonly thread: AnalysisThread;
  /** Added to the stream's count, which a new thread starts at zero. */
  streamOffset: number;
  lastStreamIndex: number;
  lastOpening: SensorStateChange | null;
  /** The sensor's state since then, other than streaming; null too once its end was told. */
  lastChange: SensorStateChange | null;
  hostTimeS: number;
  summary: ChainSummary | null;
}

/**
 * The path from packets to shots, spread over worker threads by sensor: one sensor's long sum does not hold up another's
 * shot, nor the service's own work. A thread that breaks or hangs is replaced; its sensors tell a fault and go on with new
 * chains.
 */
export class AnalysisThreads {
  /** Subscribe once, before the source starts. Completes after the source, with all chains finished. */
  readonly events: Observable<PathEvent>;
  readonly #places = new Map<string, SensorPlace>();
  readonly #followers = new Set<(block: StreamBlock) => void>();
  #threads: readonly AnalysisThread[] = [];

  constructor(options: AnalysisThreadsOptions) {
    const { threadCount, notifications, states } = options;
    this.events = new Observable<PathEvent>((subscriber) => {
      let open = threadCount;
      const threads = Array.from({ length: threadCount }, () => {
        const thread: AnalysisThread = new AnalysisThread(options, {
          said: (event, summary) => subscriber.next(this.#take(event, summary)),
          followed: (block) => this.#tellFollowers(block),
          counted: (sensorId, summary) => (this.#place(sensorId, threads).summary = summary),
          broke: (reason, goesOn) => {
            for (const event of this.#restart(thread, reason, goesOn)) subscriber.next(event);
          },
          ended: () => {
            open -= 1;
            if (open === 0) subscriber.complete();
          },
        });
        return thread;
      });
      this.#threads = threads;
      this.#follow();
      const sending = withSetups(merge(notifications, states), options.setupOf).subscribe({
        next: (input) => this.#send(input, this.#place(input.sensorId, threads)),
        error: (error: unknown) => subscriber.error(error),
        complete: () => {
          for (const thread of threads) thread.end();
        },
      });
      return () => {
        sending.unsubscribe();
        for (const thread of threads) thread.stop();
      };
    });
  }

  /** @returns counts of the sensor's present stream as of the last second; null before it has one. */
  summary(sensorId: string): ChainSummary | null {
    return this.#places.get(sensorId)?.summary ?? null;
  }

  /**
   * Lets somebody have the samples of all sensors from now on, as the analysis has them.
   *
   * @returns ends it.
   */
  follow(take: (block: StreamBlock) => void): () => void {
    this.#followers.add(take);
    this.#follow();
    return () => {
      this.#followers.delete(take);
      this.#follow();
    };
  }

  #follow(): void {
    for (const thread of this.#threads) thread.follow(this.#followers.size > 0);
  }

  #tellFollowers(told: StreamBlock): void {
    const offset = this.#places.get(told.sensorId)?.streamOffset ?? 0;
    const block = offset === 0 ? told : { ...told, streamIndex: told.streamIndex + offset };
    for (const take of this.#followers) take(block);
  }

  /** A new sensor goes to the thread that has fewest. */
  #place(sensorId: string, threads: readonly AnalysisThread[]): SensorPlace {
    const known = this.#places.get(sensorId);
    if (known) return known;
    const load = new Map(threads.map((thread) => [thread, 0]));
    for (const { thread } of this.#places.values()) load.set(thread, (load.get(thread) ?? 0) + 1);
    const [thread] = [...load].reduce((least, next) => (next[1] < least[1] ? next : least));
    const place: SensorPlace = {
      thread,
      streamOffset: 0,
      lastStreamIndex: -1,
      lastOpening: null,
      lastChange: null,
      hostTimeS: 0,
      summary: null,
    };
    this.#places.set(sensorId, place);
    return place;
  }

  #send(input: SensorNotification | SensorStateChange, place: SensorPlace): void {
    place.hostTimeS = input.hostTimeS;
    if ('bytes' in input) {
      place.thread.post({ kind: 'packet', packet: input });
      return;
    }
    // A `streaming` without a description goes on with the stream from before and opens none.
    if (input.state === 'streaming' && input.description !== null) place.lastOpening = input;
    if (input.state === 'ended') place.lastOpening = null;
    place.lastChange = input.state === 'streaming' ? null : input;
    place.thread.post({ kind: 'change', change: input });
  }

  #take(event: PathEvent, summary: ChainSummary | null): PathEvent {
    const place = this.#places.get(event.sensorId);
    if (!place) return event;
    if (summary) place.summary = summary;
    if (event.kind === 'state' && event.state === 'ended' && place.lastChange?.state === 'ended')
      place.lastChange = null;
    place.lastStreamIndex = event.streamIndex + place.streamOffset;
    return place.streamOffset === 0 ? event : { ...event, streamIndex: place.lastStreamIndex };
  }

  /** Opens the streams of a broken thread anew, in the state that their sensors are in, or ends them where no other thread follows. */
  #restart(thread: AnalysisThread, reason: string, goesOn: boolean): PathEvent[] {
    const events: PathEvent[] = [];
    for (const [sensorId, place] of this.#places) {
      if (place.thread !== thread) continue;
      const { hostTimeS, lastOpening, lastChange } = place;
      const head = { sensorId, streamIndex: Math.max(place.lastStreamIndex, 0), hostTimeS };
      const rest = goesOn ? 'a new one goes on from here' : 'what it had not told yet is lost';
      events.push({ ...head, kind: 'fault', message: `the analysis thread ${reason}; ${rest}` });
      place.streamOffset = place.lastStreamIndex + 1;
      if (lastOpening && goesOn) thread.post({ kind: 'change', change: { ...lastOpening, hostTimeS } });
      if (!lastChange) continue;
      // What waits for the end of a sensor's stream would wait for ever.
      if (lastOpening && goesOn) thread.post({ kind: 'change', change: lastChange });
      else events.push({ ...head, kind: 'state', state: lastChange.state, detail: lastChange.detail });
      if (lastChange.state === 'ended') place.lastChange = null;
    }
    return events;
  }
}

type SensorInput = SensorNotification | SensorStateChange;

/** @returns the same, in the same order for each sensor, every opening of a stream with the sensor's setup. */
function withSetups(
  inputs: Observable<SensorInput>,
  setupOf: AnalysisThreadsOptions['setupOf'],
): Observable<SensorInput> {
  if (!setupOf) return inputs;
  return new Observable((subscriber) => {
    // What came since a sensor's opening, while its setup is looked up. A plain queue: `concatMap` goes one call deeper for
    // each value that waits, and a file played fast has thousands.
    const waiting = new Map<string, SensorInput[]>();
    let isOver = false;
    const flush = (sensorId: string, setup: SensorSetup): void => {
      const [opening, ...later] = waiting.get(sensorId) ?? [];
      waiting.delete(sensorId);
      if (opening) subscriber.next({ ...opening, setup });
      for (const input of later) take(input);
      if (isOver && waiting.size === 0) subscriber.complete();
    };
    const take = (input: SensorInput): void => {
      const { sensorId } = input;
      const queue = waiting.get(sensorId);
      if (queue) queue.push(input);
      else if ('bytes' in input || input.state !== 'streaming' || input.description === null) subscriber.next(input);
      else {
        waiting.set(sensorId, [input]);
        setupOf(sensorId).then(
          (setup) => flush(sensorId, setup),
          (error: unknown) => subscriber.error(error),
        );
      }
    };
    return inputs.subscribe({
      next: take,
      error: (error: unknown) => subscriber.error(error),
      complete() {
        isOver = true;
        if (waiting.size === 0) subscriber.complete();
      },
    });
  });
}

interface ThreadListener {
  readonly said: (event: PathEvent, summary: ChainSummary | null) => void;
  readonly followed: (block: StreamBlock) => void;
  readonly counted: (sensorId: string, summary: ChainSummary | null) => void;
  /** `goesOn`: another worker has taken its place. */
  readonly broke: (reason: string, goesOn: boolean) => void;
  readonly ended: () => void;
}

/** One worker thread and its successors. */
class AnalysisThread {
  readonly #options: AnalysisThreadsOptions;
  readonly #listener: ThreadListener;
  readonly #hungAfterS: number;
  readonly #asking: NodeJS.Timeout;
  /** None between the end of one and the start of the next. */
  #worker: Worker | null = null;
  #restarting: NodeJS.Timeout | undefined;
  /** Why the last one went. */
  #why = '';
  #owed = 0;
  /** Whether the worker has said anything yet. */
  #isUp = false;
  #ending = false;
  #isFollowed = false;

  constructor(options: AnalysisThreadsOptions, listener: ThreadListener) {
    this.#options = options;
    this.#hungAfterS = options.hungAfterS ?? usualHungAfterS;
    this.#listener = listener;
    this.#start();
    this.#asking = setInterval(() => this.#ask(), askMs);
    this.#asking.unref();
  }

  /** What is posted while there is no worker is lost, as that which the broken one still had is. */
  post(message: ToThread): void {
    this.#worker?.postMessage(message);
  }

  /** Says whether samples are wanted, to the worker of now and to those after it. */
  follow(isOn: boolean): void {
    if (this.#isFollowed === isOn) return;
    this.#isFollowed = isOn;
    this.post({ kind: 'follow', isOn });
  }

  /** Lets the chains finish. */
  end(): void {
    this.#ending = true;
    if (this.#worker) this.post({ kind: 'end' });
    // Between two workers: the fault of the last one is still to be told.
    else this.#gone(this.#why);
  }

  /** Ends at once, finished or not. */
  stop(): void {
    this.#ending = true;
    clearInterval(this.#asking);
    clearTimeout(this.#restarting);
    this.#drop();
  }

  #start(): void {
    const start: ThreadStart = { settings: this.#options.settings };
    const worker = new Worker(this.#options.threadFile ?? ownThreadFile, { workerData: start });
    let why = 'ended by itself';
    worker.on('message', (message: FromThread) => this.#hear(message));
    worker.on('error', (error: unknown) => {
      why = `broke: ${error instanceof Error ? error.message : String(error)}`;
    });
    worker.on('exit', () => this.#gone(why));
    this.#worker = worker;
    this.#owed = 0;
    this.#isUp = false;
    if (this.#isFollowed) this.post({ kind: 'follow', isOn: true });
  }

  #hear(message: FromThread): void {
    // Whatever it says is a sign: what it was asked may stand behind a whole recording that was handed over at once.
    this.#owed = 0;
    this.#isUp = true;
    if (message.kind === 'event') this.#listener.said(message.event, message.summary);
    else if (message.kind === 'block') this.#listener.followed(message.block);
    else if (message.kind === 'answer') {
      for (const { sensorId, summary } of message.summaries) this.#listener.counted(sensorId, summary);
    } else this.#over();
  }

  #ask(): void {
    if (!this.#worker) return;
    const limitS = this.#isUp ? this.#hungAfterS : Math.max(longestLoadingS, this.#hungAfterS);
    if (this.#owed * askMs >= limitS * 1000) {
      this.#gone(`gave no sign for ${limitS} s`);
      return;
    }
    this.#owed += 1;
    this.post({ kind: 'ask' });
  }

  /** A pause before the next one keeps a fault at the start from eating the processor. */
  #gone(why: string): void {
    this.#why = why;
    this.#drop();
    if (this.#ending) {
      this.#listener.broke(why, false);
      this.#over();
      return;
    }
    this.#restarting = setTimeout(() => {
      this.#start();
      this.#listener.broke(why, true);
    }, restartMs);
  }

  #over(): void {
    clearInterval(this.#asking);
    clearTimeout(this.#restarting);
    this.#drop();
    this.#listener.ended();
  }

  #drop(): void {
    const worker = this.#worker;
    this.#worker = null;
    worker?.removeAllListeners();
    void worker?.terminate();
  }
}

/** The thread's own file: compiled, or in development and tests as TypeScript. */
const ownThreadFile = new URL(
  import.meta.url.endsWith('.ts') ? './analysis-thread-from-source.mjs' : './analysis-thread.js',
  import.meta.url,
);
