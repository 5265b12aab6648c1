/**
 * Lets a page that was opened once open without the service, to say that it is not there. Nothing of the data is kept here: what begins with
 * /api goes past. Registered on secure connections alone; browsers allow no other.
 */
const store = 'seamwise-page';

self.addEventListener('install', () => self.skipWaiting());
self.addEventListener('activate', (event) => event.waitUntil(self.clients.claim()));
self.addEventListener('fetch', (event) => {
  const { request } = event;
  const { origin, pathname } = new URL(request.url);
  if (request.method !== 'GET' || origin !== self.location.origin || pathname.startsWith('/api/')) return;
  event.respondWith(
    fetch(request).then(
      async (answer) => {
        if (answer.ok) {
          const kept = await caches.open(store);
          // Files of an older build are not needed any more once the page is new.
          if (pathname === '/') for (const old of await kept.keys()) await kept.delete(old);
          await kept.put(request, answer.clone());
        }
        return answer;
      },
      async () => (await caches.match(request)) ?? Response.error(),
    ),
  );
});
