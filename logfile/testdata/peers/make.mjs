// Writes log.csv with writers of Node.js. Run in this folder with
//   npm install --no-save @duckdb/node-api@1.5.6-r.1 hyparquet-writer@0.17.0 exceljs@4.4.0
//   node make.mjs
import fs from 'node:fs'
import { DuckDBInstance, version } from '@duckdb/node-api'
import { parquetWriteBuffer } from 'hyparquet-writer'
import ExcelJS from 'exceljs'

const rows = [
  ['2026-05-01 14:03:07', 5.25, 200.1, null, 'laid on'],
  ['2026-05-01 14:03:08', 5.5, 201, 250.4, null],
  ['2026-05-01 14:03:09', null, 202.5, 250.3, 'a "b", c'],
  ['2026-05-01 14:03:10', 6, 203, null, null],
  ['2026-05-01 14:03:11', null, 204.25, 249.9, 'turn & wait <3'],
  ['2026-05-01 14:03:12', -0.125, 205, 249.75, 'Kerntemperatur zu tief?'],
  ['2026-05-01 14:03:14', 7.3, 206, 249.6, 'a second is missing'],
  ['2026-05-01 14:03:15', 7.55, 1234.5, 249.5, null],
]
const column = i => rows.map(r => r[i])
const time = column(0).map(t => new Date(t.replace(' ', 'T') + 'Z'))

const db = await (await DuckDBInstance.create(':memory:')).connect()
const text = v => v === null ? 'NULL' : typeof v === 'number' ? String(v) : `'${v.replaceAll("'", "''")}'`
await db.run(`CREATE TABLE log (time TIMESTAMP, "core °C" DOUBLE, "pan °C" FLOAT, "weighing g" DECIMAL(7,2), note VARCHAR)`)
await db.run('INSERT INTO log VALUES ' + rows.map(r => `(${r.map(text).join(', ')})`).join(', '))
await db.run(`COPY log TO 'duckdb-snappy.parquet' (FORMAT parquet)`)
await db.run(`COPY log TO 'duckdb-v2-zstd.parquet' (FORMAT parquet, COMPRESSION zstd, PARQUET_VERSION v2)`)
await db.run(`COPY (SELECT CAST(time AS TIMESTAMPTZ) AS time, * EXCLUDE (time), [1, 2] AS raw FROM log) TO 'duckdb-gzip-lists.parquet' (FORMAT parquet, COMPRESSION gzip)`)
console.log('DuckDB', version())

fs.writeFileSync('hyparquet-writer.parquet', Buffer.from(parquetWriteBuffer({ columnData: [
  { name: 'time', data: time, type: 'TIMESTAMP' },
  { name: 'core °C', data: column(1), type: 'DOUBLE', nullable: true },
  { name: 'pan °C', data: column(2), type: 'FLOAT' },
  { name: 'weighing g', data: column(3), type: 'DOUBLE', nullable: true },
  { name: 'note', data: column(4), type: 'STRING', nullable: true },
] })))

const book = new ExcelJS.stream.xlsx.WorkbookWriter({ filename: 'exceljs-stream.xlsx', useStyles: true })
const sheet = book.addWorksheet('log')
sheet.addRow(['time', 'core °C', 'pan °C', 'weighing g', 'note']).commit()
rows.forEach((r, i) => {
  const row = sheet.addRow([time[i], i === 2 ? 'OPEN' : r[1], ...r.slice(2)])
  row.getCell(1).numFmt = 'yyyy-mm-dd hh:mm:ss'
  row.commit()
})
await book.commit()
