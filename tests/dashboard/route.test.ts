import { expect, test } from 'vitest';
import { hrefOf, hrefOfSession, routeOf, screens } from '../../src/dashboard/route.ts';

test.each(screens)('the screen %s is found by its own address', (screen) => {
  expect(routeOf(hrefOf(screen))).toEqual({ screen });
});

test.each(['', '#', '#/', '#nowhere', '#../etc', '#court/x'])('"%s" leads to the live shots', (hash) => {
  expect(routeOf(hash)).toEqual({ screen: 'live' });
});

test('a code for pairing is six digits or nothing', () => {
  expect(routeOf('#pair=012345')).toEqual({ screen: 'pair', code: '012345' });
  expect(routeOf('#pair')).toEqual({ screen: 'pair', code: null });
  expect(routeOf('#pair=12345')).toEqual({ screen: 'live' });
  expect(routeOf('#pair=<script>')).toEqual({ screen: 'live' });
});

test('a session is found by its id', () => {
  expect(routeOf(hrefOfSession('01a2-b'))).toEqual({ screen: 'session', sessionId: '01a2-b' });
  expect(routeOf('#session=../../x')).toEqual({ screen: 'live' });
});
