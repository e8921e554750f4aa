// Reads numbers from standard input, and writes them as the panel rounds them.

const { fixed, hoursAndMinutes } = await import(new URL('../../plugin/signalk/public/format.js', import.meta.url))

let given = ''
for await (const part of process.stdin) given += part
const { numbers } = JSON.parse(given)
const written = numbers.map(each => [0, 1, 2].map(decimals => fixed(each, decimals)).concat(hoursAndMinutes(each)))
process.stdout.write(JSON.stringify({ written }))
