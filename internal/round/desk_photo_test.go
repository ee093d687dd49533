package round_test

import (
	"bytes"
	"image"
	"image/color"
	"image/png"
	"slices"
	"testing"

	"bayround/internal/photo"
	"bayround/internal/round"
)

// picture is a PNG file of one colour.
func picture(t *testing.T, shade uint8) []byte {
	t.Helper()
	m := image.NewGray(image.Rect(0, 0, 8, 8))
	for i := range m.Pix {
		m.Pix[i] = shade
	}
	m.Set(0, 0, color.White)
	var b bytes.Buffer
	if err := png.Encode(&b, m); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func (tab *hands) photo(content []byte) error {
	return tab.Do(ctx, round.Act{Name: "photo", Content: content})
}

func TestDesk_PhotosBelongToTheAnswer(t *testing.T) {
	tab := newHands(t)
	tab.begin(wn11, shift, "people/quellmere")
	if err := tab.photo(picture(t, 1)); err == nil || tab.View().Notice.Reason != "NO_PHOTOS" {
		t.Fatalf("on a tablet that keeps none: %v", err)
	}
	if err := tab.Close(); err != nil {
		t.Fatal(err)
	}
	store, err := photo.Open(photo.Options{Dir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	tab.pics = photo.Camera{Store: store}
	tab.open()
	tab.act("go", "step", atWindscreen)
	late := round.Act{Name: "photo", Content: picture(t, 1), Values: map[string]string{"at": atFloor}}
	if err := tab.Do(ctx, late); err == nil || tab.View().Notice.Reason != "STEP_HAS_CHANGED" || len(tab.View().Step.Entry.Photos) != 0 {
		t.Errorf("a photo meant for another step: %v", err)
	}
	if err := tab.photo([]byte("no picture")); err == nil || tab.View().Notice == nil {
		t.Errorf("what is no picture was taken: %v", err)
	}
	for shade := range uint8(6) {
		if err := tab.photo(picture(t, shade)); err != nil {
			t.Fatal(err)
		}
	}
	if err := tab.photo(picture(t, 9)); err == nil || tab.View().Notice.Reason != "PHOTOS_FULL" {
		t.Errorf("a seventh was taken: %v", err)
	}
	sums := tab.View().Step.Entry.Photos
	if len(sums) != 6 {
		t.Fatalf("photos %v", sums)
	}
	tab.act("drop-photo", "sha256", sums[1])
	if err := tab.photo(picture(t, 0)); err != nil { // once more the same
		t.Fatal(err)
	}
	want := slices.Delete(slices.Clone(sums), 1, 2)
	tab.reopen()
	tab.act("see", "condition", "sound")
	tab.act("record")
	if got := tab.last().GetPhotos(); !slices.Equal(got, want) {
		t.Errorf("recorded %v, want %v", got, want)
	}
	for _, sum := range want {
		if !store.Has(sum) {
			t.Errorf("%s is not kept", sum)
		}
	}
}

func TestDesk_TheSpotProofIsAnswered(t *testing.T) {
	tab := newHands(t)
	tab.begin(wn11, shift, "people/quellmere")
	proofs := tab.roundOf(tab.View().Round.Name).GetSpotProofs()
	if len(proofs) == 0 {
		t.Fatal("the round asks for no spot proof")
	}
	v := tab.act("go", "step", proofs[0].GetStepId())
	if v.Step.Entry.Proof == nil || v.Step.Entry.Proof.Question != proofs[0].GetQuestion() || v.Step.Entry.Proof.Text != "" {
		t.Fatalf("asked %+v", v.Step.Entry.Proof)
	}
	for _, f := range v.Step.Entry.Fields {
		tab.typeIn(f.ID, "8")
	}
	if id := soundCondition(v.Step); id != "" {
		tab.act("see", "condition", id)
	}
	tab.look()
	if got := tab.refused("NOT_READY", "record"); got != "answer the question first" {
		t.Errorf("said %q", got)
	}
	tab.act("proof", "text", "1419")
	tab.record()
	if got := tab.last(); got.GetSpotProof() != "1419" || got.GetStepId() != proofs[0].GetStepId() {
		t.Errorf("recorded %v", got)
	}
}
