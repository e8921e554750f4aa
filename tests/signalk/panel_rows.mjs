// Reads a plan document from standard input, writes the panel's rows of it, and numbers as it rounds them.

const { legTables, summary } = await import(new URL('../../plugin/signalk/public/boards.js', import.meta.url))
const { fixed, threeFigures, hoursAndMinutes } = await import(new URL('../../plugin/signalk/public/format.js', import.meta.url))

let given = ''
for await (const part of process.stdin) given += part
const { plan, numbers } = JSON.parse(given)
const made = plan ? { legs: legTables(plan), summary: summary(plan) } : {}
const written = numbers?.map(each => [0, 1, 2].map(decimals => fixed(each, decimals)).concat(threeFigures(each), hoursAndMinutes(each)))
process.stdout.write(JSON.stringify({ ...made, written }))
