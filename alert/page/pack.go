package page

import (
	"bytes"
	"compress/gzip"
	"net/http"
	"strconv"
)

// packFrom is the size from which an answer is packed: a smaller one fits a packet or two as it is.
const packFrom = 2 << 10

// deliver sends a whole text or picture, packed where the client unpacks it (RFC 9110, section 8.4): a page of a hundred tanks is
// read again at every change, on a phone over the air. A stream never comes this way. That lengths tell of what is packed
// does no harm: the one secret that a page bears is the pass with which it was asked for.
func (s *Server) deliver(w http.ResponseWriter, r *http.Request, status int, text []byte) {
	h := w.Header()
	h.Add("Vary", "Accept-Encoding")
	isPacked := h.Get("Content-Type") == pngType
	if !isPacked && len(text) >= packFrom && likes(r.Header.Values("Accept-Encoding"), "gzip") > 0 {
		text = s.pack(text)
		h.Set("Content-Encoding", "gzip")
	}
	h.Set("Content-Length", strconv.Itoa(len(text)))
	w.WriteHeader(status)
	_, _ = w.Write(text) // the client has gone: nobody is left to tell
}

// pack packs a text fast rather than small: a small board has little to spare.
func (s *Server) pack(text []byte) []byte {
	packer, ok := s.packers.Get().(*gzip.Writer)
	if !ok {
		packer, _ = gzip.NewWriterLevel(nil, gzip.BestSpeed) // fails for no level but one that there is not
	}
	defer s.packers.Put(packer)
	var out bytes.Buffer
	packer.Reset(&out)
	_, _ = packer.Write(text) // a buffer takes all
	_ = packer.Close()
	return out.Bytes()
}
