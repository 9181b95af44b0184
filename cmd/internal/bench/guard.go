package bench

import (
	"crypto/sha256"
	"crypto/subtle"
	"net"
	"net/http"
	"strings"
	"time"
)

// headers sets what keeps a browser strict: nothing from elsewhere, no script or
// style in the page itself, no frame round it.
func headers(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; "+
			"connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'")
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Permissions-Policy", "geolocation=(), microphone=(), payment=(), usb=()")
		h.Set("Cache-Control", "no-store")
		next.ServeHTTP(w, r)
	})
}

// cookieName carries the key once it was shown. Cookies do not tell ports apart;
// another build's server on this computer has another key, which then is asked for.
const cookieName = "stripgap"

// guard answers only those who show the key, or without one only this computer.
func (s *Server) guard(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		switch {
		case s.config.Key == "":
			// A page elsewhere could have its own name resolve to this computer.
			if !isThisComputer(r.Host) {
				refuse(w, http.StatusForbidden, "not-here", "this page is for this computer only", "open it by the address that was printed")
				return
			}
		case r.Method == http.MethodGet && r.URL.Path == "/" && r.URL.Query().Has("key"):
			if s.isKey(r.URL.Query().Get("key")) {
				http.SetCookie(w, &http.Cookie{Name: cookieName, Value: s.config.Key, Path: "/",
					HttpOnly: true, SameSite: http.SameSiteStrictMode, MaxAge: int((30 * 24 * time.Hour).Seconds())})
				http.Redirect(w, r, "/", http.StatusSeeOther) // so that it does not stay in the address bar
				return
			}
			fallthrough
		default:
			if c, err := r.Cookie(cookieName); err != nil || !s.isKey(c.Value) {
				refuse(w, http.StatusForbidden, "no-key", "this page needs its key", "open it by the code or the address shown on the laptop")
				return
			}
		}
		next.ServeHTTP(w, r)
	})
}

// isKey compares in a time that tells nothing of the key.
func (s *Server) isKey(shown string) bool {
	a, b := sha256.Sum256([]byte(shown)), sha256.Sum256([]byte(s.config.Key))
	return subtle.ConstantTimeCompare(a[:], b[:]) == 1
}

// isThisComputer reports whether a Host header names the loopback interface.
func isThisComputer(host string) bool {
	if h, _, err := net.SplitHostPort(host); err == nil {
		host = h
	}
	host = strings.Trim(host, "[]")
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

// logged writes a line for each request: the route, not what was filled in.
func (s *Server) logged(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		began := time.Now()
		seen := &statusWriter{ResponseWriter: w, status: http.StatusOK}
		next.ServeHTTP(seen, r)
		route := r.Pattern
		if route == "" {
			route = r.Method + " refused"
		}
		s.log.Printf("%s %d %d ms", route, seen.status, time.Since(began).Milliseconds())
	})
}

// statusWriter remembers the status.
type statusWriter struct {
	http.ResponseWriter
	status int
}

func (w *statusWriter) WriteHeader(status int) {
	w.status = status
	w.ResponseWriter.WriteHeader(status)
}

// Unwrap lets http.ResponseController reach the connection.
func (w *statusWriter) Unwrap() http.ResponseWriter { return w.ResponseWriter }
