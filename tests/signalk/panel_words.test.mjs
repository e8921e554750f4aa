// The panel's formatters, held against what is spoken and plotted aboard; run by test_panel_words.py.

import assert from 'node:assert/strict'
import test from 'node:test'

const page = name => import(new URL(`../../plugin/signalk/public/${name}`, import.meta.url))
const f = await page('format.js')

test('what is not known is a dash, never NaN or null', () => {
  const writers = [f.countDown, f.hoursAndMinutes, f.seconds, f.position, f.fixed]
  for (const write of writers) {
    for (const unknown of [null, undefined, NaN]) assert.equal(write(unknown), f.UNKNOWN, `${write.name}(${unknown})`)
  }
  assert.equal(f.seconds('no time'), f.UNKNOWN)
})

test('a count-down is minutes and seconds, from an hour on in words', () => {
  assert.deepEqual([0, 12, 59.4, 60, 702, 3599, 3600, 9860, -4].map(f.countDown), ['0:00', '0:12', '0:59', '1:00', '11:42', '59:59', '1 h 00 min', '2 h 44 min', '0:00'])
  assert.equal(f.countDown(59.6), '1:00', 'never 0:60')
  assert.equal(f.countDown(3599.7), '1 h 00 min', 'never 60:00')
})

test('places are degrees and decimal minutes', () => {
  assert.equal(f.position(57.50833, -11.3333333), "57°30.50'N 011°20.00'W")
  assert.equal(f.position(-0.99999, 179.999999), "01°00.00'S 180°00.00'E", 'never 60.00 minutes')
})

test('lines of the grid are named short', () => {
  assert.deepEqual([56 + 40 / 60, 57, 0, -0.5].map(lat => f.gridWords(lat, 'lat')), ["56°40'N", '57°N', '00°', "00°30'S"])
  assert.deepEqual([11 + 50.5 / 60, -179.75, 180, -180].map(lon => f.gridWords(lon, 'lon')), ["011°50.5'E", "179°45'W", '180°', '180°'])
})

test('longitudes are unwrapped about another', () => {
  assert.equal(f.near(-179.5, 179), 180.5)
  assert.equal(f.near(179.5, -179), -180.5)
  assert.equal(f.near(12, 12.5), 12)
  assert.equal(f.near(12, 372.5), 372)
  assert.equal(f.wrapped(190), -170)
})

test('the first sentence of a caution stands alone', () => {
  assert.deepEqual(f.firstSentence('Not for sole navigation. Charts come first.'), ['Not for sole navigation.', 'Charts come first.'])
  assert.deepEqual(f.firstSentence('Mind 0.5 nm off. Go'), ['Mind 0.5 nm off.', 'Go'])
  assert.deepEqual(f.firstSentence('No end'), ['No end', ''])
})
