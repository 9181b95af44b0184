package bench

import (
	"embed"
	"io"
	"io/fs"
	"log"
	"net/http"
	"sync"
	"time"

	"stripgap/cmd/internal/folder"
	"stripgap/cmd/internal/pipeline"
)

//go:embed page
var pageFiles embed.FS

// Config is what a Server works with.
type Config struct {
	Folder *folder.Folder
	// Now is what readers are told of the build, and its strip lots, as they are now; one
	// photo is read with one answer.
	Now func() (pipeline.Given, folder.Lots, error)
	// Read reads one task; it waits while Readers tasks are being read.
	Read    func(pipeline.Given, pipeline.Task) pipeline.Entry
	Readers int
	// Key must be shown by whoever asks; empty: only this computer is answered.
	Key string
	// Log takes a line for each request, without keys, names or addresses.
	Log io.Writer
}

// Server serves one build. It may be used by several goroutines at once.
type Server struct {
	config  Config
	log     *log.Logger
	seats   chan struct{} // one for each photo that is taken in and read
	held    *held
	hub     hub
	accepts sync.Mutex
}

// waiting is how many photos may come in for each that is being read: those of a
// few phones wait a moment, more are told to come again.
const waiting = 3

// New returns a server of the build in the folder.
func New(c Config) *Server {
	return &Server{config: c, log: log.New(c.Log, "", log.LstdFlags),
		seats: make(chan struct{}, waiting*c.Readers), held: newHeld()}
}

// Handler is all that the server answers.
func (s *Server) Handler() http.Handler {
	files, err := fs.Sub(pageFiles, "page")
	if err != nil {
		panic(err) // the folder is embedded
	}
	m := http.NewServeMux()
	m.Handle("GET /", http.FileServerFS(files))
	m.HandleFunc("GET /api/build", s.showBuild)
	m.HandleFunc("GET /api/events", s.events)
	m.HandleFunc("GET /api/photos/{id}/picture", s.heldPicture)
	m.HandleFunc("GET /api/readings/{number}/picture", s.readingPicture)
	m.HandleFunc("POST /api/photos", s.takePhoto)
	m.HandleFunc("POST /api/photos/{id}/correct", s.correct)
	m.HandleFunc("POST /api/photos/{id}/accept", s.accept)
	m.HandleFunc("POST /api/photos/{id}/again", s.again)
	m.HandleFunc("POST /api/readings/{number}/withdraw", s.withdraw)
	return s.logged(headers(s.guard(http.NewCrossOriginProtection().Handler(m))))
}

// HTTP returns the http.Server that goes with the handler: whoever is slow is cut
// off, whatever he sends.
func (s *Server) HTTP() *http.Server {
	return &http.Server{
		Handler:           s.Handler(),
		ReadHeaderTimeout: 5 * time.Second,
		ReadTimeout:       10 * time.Second, // a photo has longer: takePhoto
		WriteTimeout:      30 * time.Second, // a reading and the events have longer
		IdleTimeout:       time.Minute,
		MaxHeaderBytes:    16 << 10,
		ErrorLog:          log.New(io.Discard, "", 0), // it would tell addresses
	}
}

// Close ends what still listens for events.
func (s *Server) Close() { s.hub.close() }
