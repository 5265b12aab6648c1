import fc from 'fast-check';

// A test that draws draws the same each time, so that it fails because of what was changed and not by chance. `SEAMWISE_TEST_SEED` draws
// otherwise, in search of what a property has overlooked.
fc.configureGlobal({ seed: Number(process.env.SEAMWISE_TEST_SEED ?? 20_261) });
