import { describe, expect, test } from 'vitest';
import { measured } from '../../src/foundation/measured.ts';
import { audiences } from '../../src/reports/report-input.ts';
import { sessionReport } from '../../src/reports/session-report.ts';
import { madeSession, pausedShots } from '../helpers/made-report.ts';

describe('a report of a practice', () => {
  test.each(audiences)('for a %s holds everything itself', (audience) => {
    const told = sessionReport(madeSession(16, { audience }));
    expect(told).not.toMatch(/<script|<link|src=|@import|url\(/);
    expect(told).toContain('Pain means stop');
    expect(told).toContain('lithium cell');
  });

  test('names the fault with what was seen, what else it may be, and a drill with its picture', () => {
    const told = sessionReport(madeSession(16));
    expect(told).toContain('The ball stops on its way up');
    expect(told).toMatch(/Clear since shot \d+/);
    expect(told).toContain('It may also be:');
    expect(told).toContain('class="drill-picture"');
  });

  test('names no fault of a child under ten, to nobody', () => {
    for (const audience of audiences) {
      const told = sessionReport(madeSession(8, { audience }));
      expect(told).not.toContain('The ball stops on its way up');
    }
    const parents = sessionReport(madeSession(8, { audience: 'parent' }));
    expect(parents).toContain('shooting should be fun');
    // Nor is a child counted.
    expect(parents).not.toContain('counted ones went in');
  });

  test('judges nobody where the players are told together', () => {
    expect(sessionReport(madeSession(16, { player: null }))).not.toContain('What to work on');
  });

  test('gives makes with what so few shots leave open', () => {
    // 12 makes of 18: score interval at 90 % by R, prop.test(12, 18, conf.level = .9, correct = FALSE): 0.4731 to 0.8167.
    expect(sessionReport(madeSession(16))).toContain('12 of 18, 67 % (47–82 %)');
  });

  test('a shot without a number is a gap in the drawing and a dash in the table', () => {
    const told = sessionReport(madeSession(16));
    const drawing = told.slice(told.indexOf('aria-label="Pause, shot by shot'));
    const pause = drawing.slice(0, drawing.indexOf('</svg>'));
    expect(pause.match(/class="gap"/g)).toHaveLength(4);
    expect(pause.match(/class="(outside|dot)"/g)).toHaveLength(20);
    expect(told).toContain('4 without a number');
  });

  test('says what could not be known, and why', () => {
    expect(sessionReport(madeSession(16))).toMatch(
      /Not told:.*forearm above level.*a sensor in the ball cannot see this/s,
    );
  });

  test('writes what people typed as text', () => {
    const nasty = '<img src=x onerror=alert(1)>"\'&';
    const base = madeSession(16);
    const told = sessionReport({
      ...base,
      name: nasty,
      player: { ...base.player!, pseudonym: nasty },
      sets: [{ ...base.sets[0]!, name: nasty, spot: nasty, conditions: [{ factor: nasty, level: nasty }] }],
    });
    expect(told).not.toContain('<img');
    expect(told).toContain('&lt;img src=x onerror=alert(1)&gt;&quot;&#39;&amp;');
  });

  test('says plainly that shots were simulated, and that there was none', () => {
    expect(sessionReport(madeSession(16, { simulated: true }))).toContain('no person threw a ball');
    expect(sessionReport(madeSession(16, { shots: [] }))).toContain('No shot was found');
    expect(sessionReport(madeSession(16, { shots: [], audience: 'parent' }))).toContain('0 shots');
  });

  test('speaks in the reader’s units', () => {
    const told = sessionReport(madeSession(16, { units: { units: 'us', spin: 'rpm' } }));
    // 2.1 rev/s are 126 rpm.
    expect(told).toMatch(/Backspin<\/td><td class="n">12\d rpm/);
    // 4.6 m / 0.3048 m.
    expect(told).toContain('wing, 15.1\u00a0ft');
    expect(sessionReport(madeSession(16))).toContain('wing, 4.6\u00a0m');
  });

  test('says in words what some numbers have to be read with', () => {
    const shots = pausedShots().map((one) => ({
      ...one,
      shot: { ...one.shot, measures: { ...one.shot.measures, pauseS: measured(0.2, 0.01, { flags: ['either-low'] }) } },
    }));
    const told = sessionReport(madeSession(16, { shots }));
    expect(told).toContain('in some shots one of two lows');
    expect(told).not.toContain('either-low');
  });
});
