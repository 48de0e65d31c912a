package web

import (
	"bytes"
	"context"
	"encoding/base64"
	"encoding/binary"
	"hash/crc32"
	"html"
	"image"
	"image/color"
	"image/jpeg"
	"io"
	"mime/multipart"
	"net/http"
	"net/url"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"
	"trivet/fault"
	"trivet/photo"
	"trivet/tasting"

	"trivet/bench"
	"trivet/bundle"
	"trivet/study"
)

// snapshot is a JPEG with an Exif block: the clock and, in the GPS directory,
// a place (CIPA DC-008-2019, section 4.6).
func snapshot(t testing.TB, shade uint8) []byte {
	t.Helper()
	img := image.NewGray(image.Rect(0, 0, 640, 480))
	for i := range img.Pix {
		img.Pix[i] = shade + uint8(i%7)
	}
	img.SetGray(1, 1, color.Gray{255})
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, nil); err != nil {
		t.Fatal(err)
	}
	be := binary.BigEndian
	entry := func(out []byte, tag, kind uint16, n, v uint32) []byte {
		return be.AppendUint32(be.AppendUint32(be.AppendUint16(be.AppendUint16(out, tag), kind), n), v)
	}
	tiff := be.AppendUint16([]byte("MM\x00\x2a\x00\x00\x00\x08"), 2)
	tiff = entry(tiff, 0x8769, 4, 1, 38) // Exif directory
	tiff = entry(tiff, 0x8825, 4, 1, 56) // GPS directory
	tiff = be.AppendUint32(tiff, 0)
	tiff = entry(be.AppendUint16(tiff, 1), 0x9003, 2, 20, 86)
	tiff = be.AppendUint32(tiff, 0)
	tiff = entry(be.AppendUint16(tiff, 2), 1, 2, 2, uint32('N')<<24)
	tiff = entry(tiff, 2, 5, 3, 106)
	tiff = be.AppendUint32(tiff, 0)
	tiff = append(tiff, "2026:05:01 18:20:30\x00"...)
	for _, n := range []uint32{51, 1, 28, 1, 38, 1} {
		tiff = be.AppendUint32(tiff, n)
	}
	block := append([]byte("Exif\x00\x00"), tiff...)
	out := append(bytes.Clone(b.Bytes()[:2]), 0xff, 0xe1)
	out = be.AppendUint16(out, uint16(len(block)+2))
	return append(append(out, block...), b.Bytes()[2:]...)
}

// sendPhoto posts the form of a photo as a browser without scripts does.
func (d *deskServer) sendPhoto(at string, file []byte, words ...string) (int, string) {
	d.Helper()
	var b bytes.Buffer
	w := multipart.NewWriter(&b)
	for i := 0; i+1 < len(words); i += 2 {
		w.WriteField(words[i], words[i+1])
	}
	p, err := w.CreateFormFile("photo", "IMG_0001.JPG")
	if err != nil {
		d.Fatal(err)
	}
	p.Write(file)
	w.Close()
	res, err := d.client.Post(d.http.URL+at+"/photos", w.FormDataContentType(), &b)
	if err != nil {
		d.Fatal(err)
	}
	defer res.Body.Close()
	body, err := io.ReadAll(res.Body)
	if err != nil {
		d.Fatal(err)
	}
	return res.StatusCode, string(body)
}

func TestAPhotoOfACook(t *testing.T) {
	d, at, cook := cookAt(t)
	file := snapshot(t, 90)
	if !bytes.Contains(file, []byte("Exif")) {
		t.Fatal("the file made for this test has no Exif block")
	}
	if code, body := d.sendPhoto(at, file, "alt", "cut face, pink within", "caption", "L09 off the heat"); code != 200 {
		t.Fatalf("%d %.900s", code, body)
	}
	p := cook().Photos[0]
	if p.Caption != "L09 off the heat" || p.Alt != "cut face, pink within" || p.WidthPx != 640 || p.HeightPx != 480 || p.Type != "image/jpeg" {
		t.Errorf("%+v", p)
	}
	if got := p.TakenAt.Format("2006-01-02 15:04:05"); got != "2026-05-01 18:20:30" {
		t.Errorf("taken %s", got)
	}
	// What is stored, sent and exported holds no word of the camera.
	for _, path := range []string{"/photos/" + p.ID, "/photos/" + p.ID + "?size=small"} {
		res, err := d.client.Get(d.http.URL + at + path)
		if err != nil {
			t.Fatal(err)
		}
		got, _ := io.ReadAll(res.Body)
		res.Body.Close()
		if res.Header.Get("Content-Type") != "image/jpeg" || res.Header.Get("X-Content-Type-Options") != "nosniff" {
			t.Errorf("%s: %v", path, res.Header)
		}
		c, _, err := image.DecodeConfig(bytes.NewReader(got))
		if err != nil || c.Width > 640 {
			t.Errorf("%s: %+v %v", path, c, err)
		}
		for _, mark := range []string{"GPS", "Exif", "http://ns.adobe.com/xap", "2026:05:01"} {
			if bytes.Contains(got, []byte(mark)) {
				t.Errorf("%s still holds %q", path, mark)
			}
		}
	}
	_, page := d.get(at)
	wants(t, page, `alt="cut face, pink within"`, "L09 off the heat", "1 May 2026, 18:20", "the place written in the file was not kept")

	// Words and time are changed; the photo goes into the trash and comes back.
	if code, _ := d.post(at+"/photos/"+p.ID, map[string][]string{"seen": {stampOf(p)}, "alt": {"a chop, cut"}, "caption": {"cut"}, "taken": {"2026-05-01 18:25"}}); code != 200 {
		t.Error(code)
	}
	if got := cook().Photos[0]; got.Alt != "a chop, cut" || got.TakenAt.Minute() != 25 {
		t.Errorf("%+v", got)
	}
	if code, body := d.post(at+"/photos/"+p.ID, map[string][]string{"seen": {"old"}, "alt": {"my words"}}); code != 422 || !strings.Contains(body, "my words") {
		t.Errorf("words over somebody else's: %d", code)
	}
	if code, body := d.post(at+"/photos/"+p.ID, map[string][]string{"do": {"delete"}}); code != 422 || !strings.Contains(body, "Only what lies in the trash") {
		t.Errorf("deleted without the trash: %d", code)
	}
	d.post(at+"/photos/"+p.ID, map[string][]string{"do": {"trash"}})
	if _, page := d.get(at); !strings.Contains(page, "Trash of photos (1)") || cook().Photos[0].TrashedAt.IsZero() {
		t.Error("not in the trash")
	}
	d.firstUndo(at)
	if !cook().Photos[0].TrashedAt.IsZero() {
		t.Error("undoing did not take it out of the trash")
	}
	d.post(at+"/photos/"+p.ID, map[string][]string{"do": {"trash"}})
	d.post(at+"/photos/"+p.ID, map[string][]string{"do": {"restore"}})
	if code, body := d.sendPhoto(at, file); code != 422 || !strings.Contains(body, "has this photo already") {
		t.Errorf("the same photo again: %d", code)
	}
	d.post(at+"/photos/"+p.ID, map[string][]string{"do": {"trash"}})
	d.post(at+"/photos/"+p.ID, map[string][]string{"do": {"delete"}})
	if len(cook().Photos) != 0 {
		t.Error("not deleted")
	}
	if _, err := d.nb.Raw(d.Context(), p.SHA256); err == nil {
		t.Error("the picture of a deleted photo is still there")
	}
	if code, _ := d.get(at + "/photos/" + p.ID); code != http.StatusNotFound {
		t.Errorf("a deleted photo is answered with %d", code)
	}
}

// A wrong file is told where it happened, and the words typed beside it stay.
func TestAPhotoThatIsRefusedLosesNoWords(t *testing.T) {
	d, at, cook := cookAt(t)
	bomb := []byte("\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR\x00\x00\xea\x60\x00\x00\xea\x60\x08\x02\x00\x00\x00")
	bomb = binary.BigEndian.AppendUint32(bomb, crc32.ChecksumIEEE(bomb[12:]))
	good := snapshot(t, 60)
	for name, c := range map[string]struct {
		file []byte
		says string
	}{
		"a text":            {[]byte("core;61.2"), "no JPEG, PNG or WebP picture"},
		"no file":           {nil, "No photo came"},
		"half a photo":      {good[:len(good)/2], "cannot be read to its end"},
		"a bomb":            {bomb, "60000 × 60000 pixels"},
		"a HEIF photo":      {[]byte("\x00\x00\x00\x18ftypheic\x00\x00\x00\x00"), "have the camera save JPEG"},
		"too large a photo": {append(bytes.Clone(good), make([]byte, 27<<20)...), "a photo may have 25 MB"},
	} {
		t.Run(name, func(t *testing.T) {
			code, body := d.sendPhoto(at, c.file, "alt", "a chop on the board", "caption", "My long caption")
			if code != 422 {
				t.Errorf("status %d", code)
			}
			wants(t, body, `value="a chop on the board"`, `value="My long caption"`)
			if !strings.Contains(strings.ToLower(body), strings.ToLower(c.says)) {
				t.Errorf("the page does not say %q", c.says)
			}
		})
	}
	if code, body := d.sendPhoto(at, good, "alt", "a chop", "taken", "noonish"); code != 422 || !strings.Contains(body, "noonish") {
		t.Errorf("a time that is none: %d", code)
	}
	if len(cook().Photos) != 0 {
		t.Error("something was kept")
	}
}

// A photo travels with its study: out in the data package, into another
// notebook, and stays behind when it lies in the trash.
func TestAPhotoTravelsInTheDataPackage(t *testing.T) {
	d, at, cook := cookAt(t)
	d.sendPhoto(at, snapshot(t, 40), "alt", "raw chop", "caption", "before heat")
	d.sendPhoto(at, snapshot(t, 200), "alt", "blurred")
	thrown := cook().Photos[1]
	d.post(at+"/photos/"+thrown.ID, map[string][]string{"do": {"trash"}})

	other := openDesk(t)
	src := d.exported(demoID)
	if _, err := bench.ImportPackage(t.Context(), src, demoID, other.nb, nil); err != nil {
		t.Fatal(err)
	}
	got := other.record(demoID).Cooks[0].Photos
	if len(got) != 1 || got[0].Caption != "before heat" || got[0].TakenAt.IsZero() {
		t.Fatalf("%+v", got)
	}
	if f, err := other.nb.Raw(t.Context(), got[0].SHA256); err != nil || bench.HashOf(f.Bytes) != got[0].SHA256 {
		t.Errorf("the picture: %v", err)
	}
	if _, err := bench.ImportPackage(t.Context(), d.exported(demoID), demoID, d.nb, nil); err != nil {
		t.Errorf("a study is not what its own package says: %v", err)
	}
}

// exported is the data package of a study, opened.
func (d *deskServer) exported(id string) bundle.Reader {
	d.Helper()
	dir := filepath.Join(d.TempDir(), "package")
	if err := bundle.Export(d.Context(), dir, d.nb, id, bundle.Extras{}, nil); err != nil {
		d.Fatal(err)
	}
	rd, err := bundle.Open(dir, bundle.Options{})
	if err != nil {
		d.Fatal(err)
	}
	d.Cleanup(func() { rd.Close() })
	return rd
}

func TestATimeOnTheClockOfACook(t *testing.T) {
	heatOn := time.Date(2026, 5, 1, 18, 0, 0, 0, time.UTC)
	for name, c := range map[string]struct {
		cook study.Cook
		want string
	}{
		"heat on by the wall's clock": {study.Cook{ZeroSet: true, ZeroUS: heatOn.UnixMicro()}, "6:30"},
		"heat on by a logger's clock": {study.Cook{ZeroSet: true, ZeroUS: 90e6}, ""},
		"no heat on":                  {study.Cook{}, ""},
		"another day":                 {study.Cook{ZeroSet: true, ZeroUS: heatOn.Add(-48 * time.Hour).UnixMicro()}, ""},
	} {
		got, ok := sinceHeatOn(&c.cook, heatOn.Add(390*time.Second))
		if got != c.want || ok != (c.want != "") {
			t.Errorf("%s: %q %v", name, got, ok)
		}
	}
}

// Readers see what the lead chose to show them, when no tasting is ahead that
// it could spoil, and nothing by default; by no way do they get more than
// pixels.
func TestPhotosForReaders(t *testing.T) {
	d, at, cook := cookAt(t)
	d.sendPhoto(at, snapshot(t, 90), "alt", "cut face, pink within", "caption", "off the heat")
	d.sendPhoto(at, snapshot(t, 180), "alt", "the kitchen's clock")
	shown, other := cook().Photos[0], cook().Photos[1]
	reader := func() string {
		t.Helper()
		token, _, err := d.desk.s.access.hand(handedLink{Role: tasting.Reader, Study: demoID, Until: d.desk.s.opt.Now().Add(time.Hour)})
		if err != nil {
			t.Fatal(err)
		}
		d.post("/studies/"+demoID+"/look", nil) // before the planned number somebody has to look
		code, page := d.get("/r/" + token)
		if code != 200 {
			t.Fatalf("the reader's page: %d %.900s", code, page)
		}
		return page
	}
	if strings.Contains(reader(), "data:image/jpeg") {
		t.Error("readers see photos that nobody chose")
	}
	if code, page := d.post(at+"/photos/"+shown.ID, url.Values{"do": {"show"}}); code != 200 || !strings.Contains(page, "Show it to readers no longer") {
		t.Fatalf("choosing it: %d", code)
	}
	// The study's question of taste waits for its tasting.
	if !d.desk.tastingAhead(d.record(demoID)) {
		t.Fatal("the demo has a tasting ahead: nothing is tried here")
	}
	if strings.Contains(reader(), "data:image/jpeg") {
		t.Error("readers see a photo before the tasting")
	}
	_, page := d.get(at)
	wants(t, page, "Readers see it once the tasting is over")
	plan := trianglePlan(3, 1)
	plan.Study, plan.Question = demoID, "taste"
	ta, _, err := d.desk.s.room.Open(t.Context(), plan, passphrase)
	if err != nil {
		t.Fatal(err)
	}
	if strings.Contains(reader(), "data:image/jpeg") {
		t.Error("readers see a photo while people taste")
	}
	if err := d.desk.s.room.Close(t.Context(), ta, passphrase); err != nil {
		t.Fatal(err)
	}
	body := reader()
	wants(t, body, `alt="cut face, pink within"`, "off the heat", cook().Label)
	pictures := regexp.MustCompile(`data:image/jpeg;base64,([^"]+)`).FindAllStringSubmatch(html.UnescapeString(body), -1)
	if len(pictures) != 1 || strings.Contains(body, other.Alt) {
		t.Fatalf("readers see %d photos", len(pictures))
	}
	b, err := base64.StdEncoding.DecodeString(pictures[0][1])
	if err != nil {
		t.Fatal(err)
	}
	if err := photo.Bare(b); err != nil {
		t.Errorf("readers get more than pixels: %v", err)
	}
	// So does everybody else: at the stove, in the data package.
	for _, p := range cook().Photos {
		f, err := d.nb.Raw(t.Context(), p.SHA256)
		if err != nil {
			t.Fatal(err)
		}
		if err := photo.Bare(f.Bytes); err != nil {
			t.Errorf("what is kept: %v", err)
		}
		for _, path := range []string{"", "?size=small"} {
			_, got := d.get(at + "/photos/" + p.ID + path)
			if err := photo.Bare([]byte(got)); err != nil {
				t.Errorf("what is sent of it%s: %v", path, err)
			}
		}
	}
	d.post(at+"/photos/"+shown.ID, url.Values{"do": {"hide"}})
	if strings.Contains(reader(), "data:image/jpeg") {
		t.Error("readers see a photo that was taken back")
	}
	if history := d.record(demoID).Events; !slices.ContainsFunc(history, func(e study.Event) bool { return strings.Contains(e.What, "is shown to readers: “off the heat”") }) {
		t.Error("the history does not say what was shown")
	}
}

// A data package made by hand may hold a photo with its place: it is not
// brought in.
func TestAPackageWithAPlaceInAPhotoIsRefused(t *testing.T) {
	d, at, cook := cookAt(t)
	d.sendPhoto(at, snapshot(t, 40), "alt", "raw chop")
	placed := snapshot(t, 40)
	src := placedPhotos{d.exported(demoID), placed}
	other := openDesk(t)
	_, err := bench.ImportPackage(t.Context(), src, demoID, other.nb, nil)
	if f := fault.As(err); f == nil || f.Code != "photo-not-bare" || !strings.Contains(f.Message, "Exif") || !strings.Contains(f.Where(), cook().Label) {
		t.Errorf("brought in, or refused for another reason: %v", err)
	}
	if all, _ := other.nb.Studies(t.Context()); len(all) != 0 {
		t.Error("half of it was kept")
	}
}

// placedPhotos is a package whose photos say where they were taken.
type placedPhotos struct {
	bundle.Reader
	picture []byte
}

func (p placedPhotos) Raw(ctx context.Context, sha string) (*bench.RawFile, error) {
	f, err := p.Reader.Raw(ctx, sha)
	if err == nil && bytes.HasPrefix(f.Bytes, []byte{0xff, 0xd8}) {
		f.Bytes = p.picture
	}
	return f, err
}
