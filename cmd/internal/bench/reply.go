package bench

import (
	"encoding/json"
	"net/http"
)

// trouble is what the page is told when something cannot be done.
type trouble struct {
	Code    string `json:"code"`
	Message string `json:"message"`
	Remedy  string `json:"remedy"`
}

// refuse answers with what is wrong and what to do.
func refuse(w http.ResponseWriter, status int, code, message, remedy string) {
	reply(w, status, map[string]trouble{"trouble": {code, message, remedy}})
}

// fail answers that the folder or the build would not: an error of the laptop's.
func (s *Server) fail(w http.ResponseWriter, err error) {
	s.log.Printf("failed: %v", err)
	refuse(w, http.StatusInternalServerError, "laptop", err.Error(), "look at the laptop, put it right, and try again")
}

func reply(w http.ResponseWriter, status int, v any) {
	data, err := json.Marshal(v)
	if err != nil {
		panic(err) // ours: no channel, function or infinite number in it
	}
	w.Header().Set("Content-Type", "application/json; charset=utf-8")
	w.WriteHeader(status)
	w.Write(data)
}
