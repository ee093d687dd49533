package catalogue

import (
	"regexp"
	"strconv"
	"strings"

	"buf.build/go/protoyaml"
	"go.yaml.in/yaml/v3"
	"google.golang.org/protobuf/proto"

	pb "bayround/proto/bayround/v1"
)

// document is one file that could be read.
type document struct {
	file    string
	root    *yaml.Node // a mapping; without content when the file holds nothing
	message *pb.StationFile
}

// parse reads one file. A document comes back when the file could be decoded,
// even when its values break rules of the proto: those are among the problems.
func parse(f File) (d *document, problems Problems) {
	if p := readable(f); p != nil {
		return nil, Problems{*p}
	}
	defer func() {
		// The YAML reader is not ours; on bytes it cannot stand it must not take
		// the station with it.
		if thrown := recover(); thrown != nil {
			d, problems = nil, Problems{{File: f.Name, Line: 1, Column: 1, Wrong: "the YAML reader gave up on this file", Right: "write it in the plain block style of the other files"}}
		}
	}()
	d = &document{file: f.Name, root: &yaml.Node{Kind: yaml.MappingNode}, message: &pb.StationFile{}}
	c := &complaints{file: f.Name}
	look := &inspection{document: d, complaints: c}
	err := protoyaml.UnmarshalOptions{CustomUnmarshaler: look}.Unmarshal(f.Content, d.message)
	switch {
	case len(c.list) > 0:
		return nil, c.list
	case err != nil && !look.begun:
		return nil, Problems{*syntaxProblem(f, err)}
	case err != nil:
		return nil, Problems{undecoded(f.Name, err)}
	}
	if p := secondDocument(f); p != nil {
		return nil, Problems{*p}
	}
	validate(c, d)
	return d, c.list
}

// inspection looks through a document between its being read and its being
// decoded, and lets only what fits pass. It is protoyaml's hook for own decoders,
// whose first call brings the whole document.
type inspection struct {
	document   *document
	complaints *complaints
	begun      bool
}

// Unmarshal implements protoyaml.CustomUnmarshaler. It says of the document
// whether it is dealt with: it is when there is nothing left to decode.
func (i *inspection) Unmarshal(node *yaml.Node, message proto.Message) (bool, error) {
	if i.begun {
		return false, nil
	}
	i.begun = true
	if empty(node) {
		return true, nil
	}
	i.document.root = node
	plain(i.complaints, node, 0)
	if len(i.complaints.list) == 0 {
		shape(i.complaints, node, message.ProtoReflect().Descriptor(), "")
	}
	return len(i.complaints.list) > 0, nil
}

// decoderPlace is the place in front of the decoder's words.
var decoderPlace = regexp.MustCompile(`^:(\d+):(\d+) (.*)`)

// undecoded says that something which looked right could not be decoded all the
// same. The decoder's words are the best there is.
func undecoded(file string, err error) Problem {
	p := Problem{File: file, Line: 1, Column: 1, Right: "write values as the other files do"}
	text, _, _ := strings.Cut(err.Error(), "\n")
	if m := decoderPlace.FindStringSubmatch(text); m != nil {
		p.Line, _ = strconv.Atoi(m[1])
		p.Column, _ = strconv.Atoi(m[2])
		text = m[3]
	}
	p.Wrong = "the value cannot be decoded: " + text
	return p
}
