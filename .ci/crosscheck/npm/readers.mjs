// What musicxml-io reads in sheets, as written: a line of JSON for each file, parts of measures of entries.
import fs from 'node:fs'
import { parseAuto } from 'musicxml-io'

for (const path of process.argv.slice(2)) {
  try {
    const score = parseAuto(fs.readFileSync(path))
    const parts = score.parts.map(p => (p.measures ?? []).map(m => ({
      attributes: m.attributes ?? {},
      entries: m.entries.map(e => e.type === 'note'
        ? { ...e, grace: Boolean(e.grace), lyrics: undefined, notations: undefined }
        : e),
    })))
    console.log(JSON.stringify({ path, parts }))
  } catch (e) {
    console.log(JSON.stringify({ path, error: String(e) }))
  }
}
