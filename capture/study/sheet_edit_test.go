package study

import (
	"strings"
	"testing"
)

// Changes of a sheet leave every other cell, separator and line end as it was.
func TestSheetText(t *testing.T) {
	const sheet = "\ufefffile;Model;subject;point;seating;notes\r\na.wav;Model A;fixture;blocked;1;\"one; two\"\r\nb.wav;Model A;L01;blocked;1;\r\n"
	s, err := ParseSheetText("sheet", []byte(sheet))
	if err != nil {
		t.Fatal(err)
	}
	same, err := s.Bytes()
	if err != nil || string(same) != sheet {
		t.Errorf("unchanged: %v, %q", err, same)
	}
	if err := s.Note("b.wav", "hair"); err != nil {
		t.Fatal(err)
	}
	if err := s.Note("a.wav", "three"); err != nil {
		t.Fatal(err)
	}
	if err := s.Read("b.wav", Reading{ForwardMM: -1.5, UpMM: 2}); err != nil {
		t.Fatal(err)
	}
	if err := s.Add(Seating{File: "c.wav", Model: "Model A", Subject: "L01", Point: Blocked, Number: 2}, "a.wav"); err != nil {
		t.Fatal(err)
	}
	got, err := s.Bytes()
	want := "\ufefffile;Model;subject;point;seating;notes;read_forward_mm;read_up_mm\r\na.wav;Model A;fixture;blocked;1;\"one; two; three\";;\r\n" +
		"c.wav;Model A;L01;blocked;2;;;\r\nb.wav;Model A;L01;blocked;1;hair;-1.5;2\r\n"
	if err != nil || string(got) != want {
		t.Errorf("%v\n got %q\nwant %q", err, got, want)
	}
	cells, err := s.Drop("c.wav")
	if err != nil || strings.Join(cells, ",") != "file=c.wav,Model=Model A,subject=L01,point=blocked,seating=2" {
		t.Errorf("%v, %q", err, cells)
	}
	if got, err := s.Bytes(); err != nil || strings.Contains(string(got), "c.wav") {
		t.Errorf("%v, %q", err, got)
	}
	if err := s.Note("d.wav", "x"); err == nil {
		t.Error("a note to a row that is not there")
	}
	if err := s.Add(Seating{File: "a.wav", Model: "Model A", Subject: "L02", Point: Blocked, Number: 1}, ""); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Bytes(); err == nil {
		t.Error("a sheet with one file in two rows is written")
	}
	if _, err := ParseSheetText("sheet", []byte("file,model\n")); err == nil {
		t.Error("a sheet that cannot be read is changed")
	}
}

// A reading fills the row that was planned for it, or comes at the end; other rows
// stay, those that are planned and not read yet too.
func TestOfPlacements(t *testing.T) {
	const head = "subject,model,seating,forward_mm,up_mm\n"
	for text, want := range map[string]bool{
		head + "fixture,,,,\nfixture,,,1,2\n":           false,
		head + "fixture,,,,\nL01,Model A,1,,\n":         true,
		head + "fixture,,,1,2\nfixture,Model A,3,1,2\n": true,
	} {
		if OfPlacements("readings", []byte(text)) != want {
			t.Errorf("%q: want %v", text, want)
		}
	}
}

func TestAddReading(t *testing.T) {
	const sheet = "subject;seating;model;side;forward_mm;up_mm;notes\r\nL01;1;Model A;;;;dry\r\nL01;1;Model A;left;;;\r\nfixture;2;Model A;;1,5;2;\r\n"
	for _, c := range []struct {
		row  ReadingRow
		want string
	}{
		{ReadingRow{Subject: "L01", Model: "Model A", Number: 1, ForwardMM: -3.5, UpMM: 4}, "subject;seating;model;side;forward_mm;up_mm;notes\r\nL01;1;Model A;;-3.5;4;dry\r\nL01;1;Model A;left;;;\r\nfixture;2;Model A;;1,5;2;\r\n"},
		{ReadingRow{Subject: "fixture", Model: "Model A", Number: 2, ForwardMM: 1, UpMM: 2, Reader: "R1"}, "subject;seating;model;side;forward_mm;up_mm;notes;reader\r\nL01;1;Model A;;;;dry;\r\nL01;1;Model A;left;;;;\r\nfixture;2;Model A;;1,5;2;;\r\nfixture;2;Model A;;1;2;;R1\r\n"},
	} {
		got, err := AddReading("readings", []byte(sheet), c.row)
		if err != nil || string(got) != c.want {
			t.Errorf("%v\n got %q\nwant %q", err, got, c.want)
		}
	}
	if _, err := AddReading("readings", []byte(sheet), ReadingRow{Subject: "L01", Model: "Model A", Number: 1, ForwardMM: 1e6}); err == nil {
		t.Error("a reading of a kilometre is written")
	}
}
