package web

import (
	"bufio"
	"encoding/json"
	"io"
	"net/http"
	"slices"
	"strings"
	"time"

	"trivet/tasting"
)

// auditLine is one request that changed something, or showed what is secret.
type auditLine struct {
	At      time.Time `json:"at"`
	Role    string    `json:"role"`
	Name    string    `json:"name,omitempty"` // of the link, as the lead gave it
	From    string    `json:"from"`
	TLS     bool      `json:"tls,omitempty"`
	Route   string    `json:"route"`
	Study   string    `json:"study,omitempty"`
	Tasting string    `json:"tasting,omitempty"`
	Cook    string    `json:"cook,omitempty"`
	Link    string    `json:"link,omitempty"` // what names a link that was ended, and opens nothing
	Status  int       `json:"status"`
}

// showsSecrets tells of what is only read, and noted all the same: the key of
// a tasting, its links, and copies that leave the desk.
func showsSecrets(path string) bool {
	return strings.HasPrefix(path, linkPaths[tasting.Preparer]) || path == "/copy" ||
		strings.HasPrefix(path, "/studies/") && strings.HasSuffix(path, ".zip") ||
		strings.HasPrefix(path, "/tastings/") && (strings.HasSuffix(path, "/ballots") || strings.HasSuffix(path, "/ballots.pdf"))
}

// audited writes a line for every request that is no mere reading, and for
// every look at a key or a sheet of links, and for every copy that leaves.
// Links and what was typed are never written, nor which
// assessor answered.
func (d *Desk) audited(next http.Handler) http.Handler {
	if d.opt.Audit == nil {
		return next
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		reads := r.Method == http.MethodGet || r.Method == http.MethodHead || strings.HasSuffix(r.URL.Path, "/predict")
		if reads && !showsSecrets(r.URL.Path) {
			next.ServeHTTP(w, r)
			return
		}
		line := auditLine{At: d.s.opt.Now().UTC(), From: addressOf(r), TLS: r.TLS != nil, Role: string(d.roleOf(r))}
		if g, ok := d.s.guestOf(r); ok && string(g.Role) == line.Role {
			line.Name = g.Name
		}
		rec := &recorder{ResponseWriter: w, status: http.StatusOK}
		next.ServeHTTP(rec, r)
		line.Route, line.Status, line.Cook = r.Pattern, rec.status, r.PathValue("cook")
		if strings.Contains(r.Pattern, " /tastings/") {
			line.Tasting = r.PathValue("id")
		} else {
			line.Study = r.PathValue("id")
		}
		if line.Link = r.PathValue("link"); r.Pattern == "POST /links" { // which study a link is to
			line.Study = r.PostForm.Get("study")
		}
		if role, ok := comesAs[d.s.whoOf(r.Pattern)]; ok {
			line.Role, line.Name = string(role), ""
		}
		if line.Role == "" {
			line.Role = "nobody"
			if d.s.leads.isLead(r) { // has just signed in
				line.Role = string(tasting.Lead)
			}
		}
		b, err := json.Marshal(line)
		if err != nil {
			return
		}
		d.auditing.Lock()
		defer d.auditing.Unlock()
		if _, err := d.opt.Audit.Write(append(b, '\n')); err != nil {
			d.s.opt.Log.Error("fault", "what", err)
		}
	})
}

// auditRow is a line as the lead reads it.
type auditRow struct{ At, Who, From, What, Where, Done string }

type auditView struct {
	Rows  []auditRow
	Kept  bool // a log is kept
	Older bool // there are more lines in the file
}

// auditShown is how many lines the page shows.
const auditShown = 300

func (d *Desk) auditPage(w http.ResponseWriter, r *http.Request) {
	v := auditView{Kept: d.opt.ReadAudit != nil}
	if v.Kept {
		f, err := d.opt.ReadAudit()
		if err == nil {
			v.Rows, v.Older, err = readAudit(f)
			f.Close()
		}
		if err != nil {
			d.s.fail(w, r, 0, err)
			return
		}
	}
	d.render(w, r, http.StatusOK, "auditpage", frame{Title: say("audit-title")}, v)
}

// readAudit reads the last lines, newest first. A line that cannot be read is
// passed over: the file is the record, the page only shows it.
func readAudit(r io.Reader) (rows []auditRow, older bool, err error) {
	lines := bufio.NewScanner(r)
	for lines.Scan() {
		var x auditLine
		if json.Unmarshal(lines.Bytes(), &x) != nil {
			continue
		}
		if len(rows) == auditShown {
			rows, older = rows[1:], true
		}
		row := auditRow{At: x.At.Format("2006-01-02 15:04:05 MST"), Who: roleWords(x.Role), From: x.From, What: x.Route, Where: x.Study + x.Tasting, Done: say("audit-done")}
		if x.Name != "" {
			row.Who += " (" + x.Name + ")"
		}
		if words, ok := deeds[x.Route]; ok {
			row.What = words
		}
		if x.Cook != "" {
			row.Where += ", " + x.Cook
		}
		if x.Status >= 400 {
			row.Done = say("audit-refused", x.Status)
		}
		rows = append(rows, row)
	}
	slices.Reverse(rows)
	return rows, older, lines.Err()
}

// roleWords is what a role is called in the log of changes.
func roleWords(role string) string {
	if _, ok := english["role-"+role]; ok {
		return say("role-" + role)
	}
	return role
}
