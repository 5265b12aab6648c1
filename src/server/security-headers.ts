/** Sent with every answer. No script or style stands in the page itself, so none is allowed there. */
export const securityHeaders: Readonly<Record<string, string>> = Object.freeze({
  'content-security-policy': [
    "default-src 'none'",
    "script-src 'self'",
    "style-src 'self'",
    "img-src 'self'",
    "font-src 'self'",
    // A quiet sound that brings media buttons to the page.
    "media-src 'self'",
    // Lets the page open without the service, to say that it is not there.
    "worker-src 'self'",
    // Covers this service's own WebSocket too.
    "connect-src 'self'",
    "manifest-src 'self'",
    "base-uri 'none'",
    "form-action 'none'",
    "frame-ancestors 'none'",
  ].join('; '),
  'x-content-type-options': 'nosniff',
  'x-frame-options': 'DENY',
  'referrer-policy': 'no-referrer',
  'cross-origin-opener-policy': 'same-origin',
  'cross-origin-resource-policy': 'same-origin',
  'permissions-policy': 'camera=(), geolocation=(), microphone=()',
});
