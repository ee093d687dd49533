package screen

import (
	"context"
	"errors"
	"io"
	"mime/multipart"
	"net/http"

	"bayround/internal/fault"
	"bayround/internal/round"
)

const (
	largestForm  = 64 << 10
	largestPhoto = 20 << 20
	photosAtOnce = 2
)

// act answers POST /act: what the socket does, for a page whose socket is down.
func (s *Server) act(w http.ResponseWriter, r *http.Request) {
	r.Body = http.MaxBytesReader(w, r.Body, largestForm)
	if err := r.ParseForm(); err != nil {
		http.Error(w, "The form could not be read.", http.StatusBadRequest)
		return
	}
	id, act, err := decodeForm(r.PostForm)
	if err != nil {
		http.Error(w, "The form is malformed: "+err.Error()+".", http.StatusBadRequest)
		return
	}
	s.carryOut(w, r, id, act)
}

// photo answers POST /photo. The photo is held in memory while it is handed on, so
// only few may come at once.
func (s *Server) photo(w http.ResponseWriter, r *http.Request) {
	select {
	case s.photos <- struct{}{}:
		defer func() { <-s.photos }()
	default:
		http.Error(w, "Other photos are being taken in; send this one again.", http.StatusServiceUnavailable)
		return
	}
	r.Body = http.MaxBytesReader(w, r.Body, largestPhoto+largestForm)
	parts, err := r.MultipartReader()
	if err != nil {
		http.Error(w, "A photo comes as a form with a file.", http.StatusBadRequest)
		return
	}
	id, act, err := readPhoto(parts)
	var tooLarge *http.MaxBytesError
	switch {
	case errors.As(err, &tooLarge) || errors.Is(err, errPhotoTooLarge):
		http.Error(w, "The photo is larger than 20 MiB. Take it with less detail.", http.StatusRequestEntityTooLarge)
	case err != nil:
		http.Error(w, "The photo could not be read: "+err.Error()+".", http.StatusBadRequest)
	default:
		s.carryOut(w, r, id, act)
	}
}

// showPhoto answers GET /photo/{sha256}. A photo is named by its content, so the
// browser may keep it for as long as it likes.
func (s *Server) showPhoto(w http.ResponseWriter, r *http.Request) {
	if s.config.Photos == nil {
		http.Error(w, "This tablet keeps no photos.", http.StatusNotFound)
		return
	}
	content, mediaType, err := s.config.Photos.Get(r.PathValue("sha256"))
	if err != nil {
		http.Error(w, inWords(err), http.StatusNotFound)
		return
	}
	w.Header().Set("Content-Type", mediaType)
	w.Header().Set("Cache-Control", "private, max-age=31536000, immutable")
	_, _ = w.Write(content) // a reader that has gone needs no answer
}

var (
	errPhotoTooLarge = errors.New("too large")
	errNoPhoto       = errors.New("the form holds no photo")
)

// readPhoto takes one file, named photo, and the act's id and the step it was taken
// at if they are there.
func readPhoto(parts *multipart.Reader) (id string, act round.Act, err error) {
	var content []byte
	values := map[string]string{}
	for {
		part, err := parts.NextPart()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return "", act, err
		}
		switch part.FormName() {
		case "photo":
			if content != nil {
				return "", act, errors.New("one photo at a time")
			}
			content, err = readPart(part, largestPhoto)
		case "act-id":
			var text []byte
			text, err = readPart(part, 128)
			id = string(text)
		case "at":
			var text []byte
			text, err = readPart(part, longestValue)
			values["at"] = string(text)
		}
		if err != nil {
			return "", act, err
		}
	}
	if len(content) == 0 {
		return "", act, errNoPhoto
	}
	act, err = newAct(id, "photo", values)
	act.Content = content
	return id, act, err
}

func readPart(part io.Reader, most int64) ([]byte, error) {
	content, err := io.ReadAll(io.LimitReader(part, most+1))
	if err == nil && int64(len(content)) > most {
		return nil, errPhotoTooLarge
	}
	return content, err
}

// carryOut does an act and sends the browser back to the page, which says what came
// of it: a refusal is part of the desk's view.
func (s *Server) carryOut(w http.ResponseWriter, r *http.Request, id string, act round.Act) {
	ctx, cancel := context.WithTimeout(s.life, s.limits.act)
	defer cancel()
	err := s.acts.do(ctx, id, act)
	s.tablet.refresh(false)
	var f *fault.Fault
	if err != nil && !errors.As(err, &f) {
		s.log.Error("carrying out an act", "act", act.Name, "error", err)
		http.Error(w, inWords(err), http.StatusInternalServerError)
		return
	}
	http.Redirect(w, r, "/", http.StatusSeeOther)
}

// hearTablet carries out an act that came over a socket.
func (s *Server) hearTablet(ctx context.Context, frame []byte) (reply, error) {
	id, act, err := decodeFrame(frame)
	if err != nil {
		return reply{}, err
	}
	// The act goes on when its page goes: only the end of the program stops it.
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), s.limits.act)
	defer cancel()
	defer context.AfterFunc(s.life, cancel)()
	err = s.acts.do(ctx, id, act)
	if said := inWords(err); said != "" {
		s.log.Info("an act was refused", "act", act.Name, "error", err)
	}
	s.tablet.refresh(false)
	return reply{ack: id, refused: inWords(err)}, nil
}
