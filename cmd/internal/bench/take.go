package bench

import (
	"errors"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"stripgap/clearance/build"
	"stripgap/cmd/internal/folder"
	"stripgap/cmd/internal/pipeline"
	"stripgap/vision"
)

// Codes of what the page is told beside refusals of photos.
const (
	codeBusy     = "busy"
	codeForm     = "bad-form"
	codeBearing  = "unknown-bearing"
	codeGone     = "not-held"
	codeAccepted = "accepted-already"
)

// uploadTime is how long a photo may take to come in, and readTime how long its
// reading may keep the phone waiting.
const (
	uploadTime = 2 * time.Minute
	readTime   = 3 * time.Minute
)

// takePhoto takes a photo in, keeps it in the folder and has it read. The reading
// is then held until it is accepted; a refusal is noted like the command line does.
func (s *Server) takePhoto(w http.ResponseWriter, r *http.Request) {
	if !s.sit(w) {
		return
	}
	defer s.rise()
	c := http.NewResponseController(w)
	c.SetReadDeadline(time.Now().Add(uploadTime))
	c.SetWriteDeadline(time.Now().Add(uploadTime + readTime))
	r.Body = http.MaxBytesReader(w, r.Body, maxForm)
	f, err := parseForm(r.Header.Get("Content-Type"), r.Body)
	var tooLarge *http.MaxBytesError
	switch {
	case errors.As(err, &tooLarge), len(f.photo) > vision.MaxFileBytes:
		why := vision.Refuse(vision.CodeTooLarge, "over %d MB", vision.MaxFileBytes>>20)
		refuse(w, http.StatusRequestEntityTooLarge, why.Code, why.Message, why.Remedy)
		return
	case err != nil:
		refuse(w, http.StatusBadRequest, codeForm, "the photo did not come as this page sends it", "load the page again and send the photo again")
		return
	}
	v := s.config.Folder.View()
	if _, _, ok := v.Build.Find(f.bearing); !ok {
		refuse(w, http.StatusBadRequest, codeBearing, "there is no such bearing in this build", "load the page again")
		return
	}
	ending, why := vision.Ending(f.photo)
	if why != nil {
		refuse(w, http.StatusUnprocessableEntity, why.Code, why.Message, why.Remedy)
		return
	}
	s.read(w, f, ending)
}

// sit takes a seat, or sends the phone away for a moment.
func (s *Server) sit(w http.ResponseWriter) bool {
	select {
	case s.seats <- struct{}{}:
		return true
	default:
		w.Header().Set("Retry-After", "2")
		refuse(w, http.StatusTooManyRequests, codeBusy, "other photos are being read", "wait a moment; the page sends it again by itself")
		return false
	}
}

func (s *Server) rise() { <-s.seats }

// read keeps the photo and reads it, with the one from the other side if there is.
func (s *Server) read(w http.ResponseWriter, f form, ending string) {
	job := folder.Job{Given: folder.Given{Bearing: f.bearing, Position: f.position}, By: build.ByHand}
	if f.other != "" {
		other := s.held.get(f.other)
		if other == nil || other.job.Bearing != f.bearing || len(other.job.Photos) != 1 {
			refuse(w, http.StatusConflict, codeGone, "the first of the two photos is no longer known", "take both photos again")
			return
		}
		job = other.job
	}
	// The name is ours: what the file is called on the phone never comes near a path.
	photo, isNew, err := s.config.Folder.TakePhoto(photoName(f.bearing, f.position, ending), f.photo)
	if err != nil {
		s.fail(w, err)
		return
	}
	if number, ok := s.config.Folder.View().Journal.ReadingOf(photo.SHA256); ok {
		s.replyAccepted(w, number)
		return
	}
	if len(job.Photos) == 1 && job.Photos[0] == photo {
		refuse(w, http.StatusConflict, vision.CodePairTooAlike, "this is the first photo once more", "take the second from the other side of the strip")
		return
	}
	job.Photos = append(slices.Clone(job.Photos), photo)
	got, err := s.readJob(job, correction{})
	if err != nil {
		s.fail(w, err)
		return
	}
	if why := got.outcome.Refused; why != nil && isNew && vision.OfFile(why.Code) {
		// Nobody can see anything in it: it is not kept, and not noted.
		if err := s.config.Folder.DropPhoto(photo); err != nil {
			s.fail(w, err)
			return
		}
		os.Remove(got.picture)
		refuse(w, http.StatusUnprocessableEntity, why.Code, why.Message, why.Remedy)
		return
	}
	s.show(w, got)
}

// photoName is what a photo of a bearing is called, in the words that the command
// line understands too.
func photoName(bearing string, position *float64, ending string) string {
	name := bearing
	if position != nil {
		name += "-" + strconv.FormatFloat(*position, 'f', -1, 64) + "deg"
	}
	return strings.ReplaceAll(name, "/", "") + ending
}

// readJob reads photos of the folder, with what a person corrected.
func (s *Server) readJob(j folder.Job, c correction) (*reading, error) {
	given, lots, err := s.config.Now()
	if err != nil {
		return nil, err
	}
	c.apply(&given.Options)
	v := s.config.Folder.View()
	got := &reading{id: idOf(j.Photos), job: j, picture: v.Task(j).Picture}
	got.outcome, err = v.Read(j, lots, func(t pipeline.Task) pipeline.Entry {
		if c != (correction{}) {
			t.Picture = correctedPicture(t.Picture)
		}
		e := s.config.Read(given, t)
		got.result, got.sight = e.Result, e.Sight
		return e
	})
	if err != nil {
		return nil, err
	}
	s.sameAsTag(v, got)
	return got, nil
}

// sameAsTag notes that the tag says the same as the person, so that the reading is
// what the command line would make of the photo.
func (s *Server) sameAsTag(v folder.View, got *reading) {
	r, card := got.outcome.Reading, got.result.Card
	if r == nil || card == nil || build.Key(card.Bearing) != build.Key(r.Bearing) {
		return
	}
	if slices.ContainsFunc(v.Journal.Sheets(), func(sheet build.Sheet) bool { return sheet.Serial == card.Serial }) {
		r.Assigned = build.ByTag
	}
}

// show holds a reading, or notes a refusal, and answers with it.
func (s *Server) show(w http.ResponseWriter, got *reading) {
	s.held.put(got)
	if got.outcome.Refused != nil {
		if _, err := s.config.Folder.Keep(got.outcome); err != nil {
			s.fail(w, err)
			return
		}
	}
	s.hub.changed()
	shown, err := s.shown(got)
	if err != nil {
		s.fail(w, err)
		return
	}
	reply(w, http.StatusOK, shown)
}

// correct reads a held photo again with what a person says of where the strip is.
func (s *Server) correct(w http.ResponseWriter, r *http.Request) {
	old := s.held.get(r.PathValue("id"))
	if old == nil {
		s.gone(w)
		return
	}
	c, err := parseCorrection(r.Body)
	if err != nil {
		refuse(w, http.StatusBadRequest, codeForm, "the correction did not come as this page sends it", "load the page again")
		return
	}
	if !s.sit(w) {
		return
	}
	defer s.rise()
	http.NewResponseController(w).SetWriteDeadline(time.Now().Add(readTime))
	got, err := s.readJob(old.job, c)
	if err != nil {
		s.fail(w, err)
		return
	}
	drawn := correctedPicture(got.picture)
	if why := got.outcome.Refused; why != nil && old.outcome.Reading != nil {
		os.Remove(drawn) // the reading that there is stays, with its picture
		refuse(w, http.StatusUnprocessableEntity, why.Code, why.Message, why.Remedy)
		return
	}
	if err := os.Rename(drawn, got.picture); err != nil && got.outcome.PictureErr == nil {
		got.outcome.PictureErr = err
	}
	s.show(w, got)
}

// correctedPicture is where the picture of a corrected reading is drawn until it is
// known to stay; the folder sweeps away what a killed process leaves of such names.
func correctedPicture(path string) string {
	return filepath.Join(filepath.Dir(path), ".stripgap-"+filepath.Base(path))
}

func (s *Server) gone(w http.ResponseWriter) {
	refuse(w, http.StatusNotFound, codeGone, "this photo is no longer waiting", "send it again")
}

// accept adds a held reading to the build. Asked twice, as a phone does that did
// not hear the first answer, it is added once.
func (s *Server) accept(w http.ResponseWriter, r *http.Request) {
	s.accepts.Lock()
	defer s.accepts.Unlock()
	got := s.held.get(r.PathValue("id"))
	if got == nil || got.outcome.Reading == nil {
		s.gone(w)
		return
	}
	for _, p := range got.job.Photos {
		if number, ok := s.config.Folder.View().Journal.ReadingOf(p.SHA256); ok {
			s.replyAccepted(w, number)
			return
		}
	}
	kept, err := s.config.Folder.Keep(got.outcome)
	if err != nil {
		s.fail(w, err)
		return
	}
	s.hub.changed()
	s.replyAccepted(w, kept.Number)
}

func (s *Server) replyAccepted(w http.ResponseWriter, number int) {
	reply(w, http.StatusOK, map[string]int{"number": number})
}

// codeAgain is the refusal of a photo whose person took another.
const codeAgain = "taken-again"

// again lets a held reading go: its photo stays, and is not read by itself again.
func (s *Server) again(w http.ResponseWriter, r *http.Request) {
	s.accepts.Lock()
	defer s.accepts.Unlock()
	got := s.held.get(r.PathValue("id"))
	if got == nil {
		reply(w, http.StatusOK, struct{}{}) // it was let go before
		return
	}
	journal := s.config.Folder.View().Journal
	for _, p := range got.job.Photos {
		if number, ok := journal.ReadingOf(p.SHA256); ok {
			refuse(w, http.StatusConflict, codeAccepted, "reading "+strconv.Itoa(number)+" was made from this photo", "take that reading back first")
			return
		}
	}
	if got.outcome.Refused == nil {
		err := s.config.Folder.Refuse(build.Refused{Photos: got.job.Photos, Bearing: got.job.Bearing, Code: codeAgain,
			Message: "its reading was not accepted and the photo taken again", Remedy: "to use it all the same, read it again by its name"})
		if err != nil {
			s.fail(w, err)
			return
		}
		s.hub.changed()
	}
	s.held.drop(got.id)
	reply(w, http.StatusOK, struct{}{})
}

// withdraw takes a reading back, with the reason.
func (s *Server) withdraw(w http.ResponseWriter, r *http.Request) {
	number, err := strconv.Atoi(r.PathValue("number"))
	reason, ok := parseReason(r.Body)
	if err != nil || !ok {
		refuse(w, http.StatusBadRequest, codeForm, "a reading is taken back with a reason only", "say why, in a few words")
		return
	}
	if err := s.config.Folder.Withdraw(number, reason); err != nil {
		refuse(w, http.StatusConflict, codeForm, err.Error(), "load the page again")
		return
	}
	s.hub.changed()
	reply(w, http.StatusOK, struct{}{})
}

// heldPicture is what was seen in a photo that waits.
func (s *Server) heldPicture(w http.ResponseWriter, r *http.Request) {
	got := s.held.get(r.PathValue("id"))
	if got == nil {
		http.NotFound(w, r)
		return
	}
	servePicture(w, r, got.picture)
}

// readingPicture is what was seen in the photo of an accepted reading.
func (s *Server) readingPicture(w http.ResponseWriter, r *http.Request) {
	v := s.config.Folder.View()
	for _, k := range v.Journal.Readings() {
		if strconv.Itoa(k.Number) == r.PathValue("number") && k.Picture != "" {
			servePicture(w, r, v.Path(k.Picture))
			return
		}
	}
	http.NotFound(w, r)
}

func servePicture(w http.ResponseWriter, r *http.Request, path string) {
	f, err := os.Open(path)
	if err != nil {
		http.NotFound(w, r)
		return
	}
	defer f.Close()
	w.Header().Set("Content-Type", "image/jpeg")
	http.ServeContent(w, r, "", time.Time{}, f)
}
