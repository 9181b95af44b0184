package report

import (
	"encoding/json"
	"io"

	"stripgap/cmd/internal/pipeline"
)

// JSON writes the results as one document of the contract.
func JSON(w io.Writer, results []pipeline.Result) error {
	if results == nil {
		results = []pipeline.Result{} // an empty list, not null
	}
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	e.SetEscapeHTML(false)
	return e.Encode(pipeline.Document{Schema: pipeline.Schema, Results: results})
}
