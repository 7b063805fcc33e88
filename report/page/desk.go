package page

// Desk is what the live view shows of a session beside the last seating, in
// words and numbers that are ready to show. Without a session the zero value.
type Desk struct {
	Phase    string `json:"phase"`    // "ready", "caution", "playing", "judging", "judged", "finished"; empty when nothing is driven from here
	Next     string `json:"next"`     // the row that is next
	Left     string `json:"left"`     // rows and minutes left
	Judging  string `json:"judging"`  // the recording that is being judged, and since when
	Message  string `json:"message"`  // what happened, or what keeps the row from being played
	Safety   string `json:"safety"`   // what is known of the level
	Cautions string `json:"cautions"` // to be read and confirmed now; plain text
	// Take is what came of the last take. Nil where the results say it.
	Take    *Take    `json:"take"`
	Meters  []Meter  `json:"meters"`
	History []Take   `json:"history"` // oldest first
	Buttons []Button `json:"buttons"`
	// ToleranceMM is the radius within which a seating on the map is as good as
	// in the middle.
	ToleranceMM float64 `json:"tolerance_mm"`
}

// Take is one take of the session.
type Take struct {
	File  string   `json:"file"`
	Title string   `json:"title"`
	Word  string   `json:"word"`
	Tone  string   `json:"tone"`
	Do    []string `json:"do"`
	More  []string `json:"more"`
	// ForwardMM and UpMM are where it sits against the worn mean, mm; they count
	// when Placed.
	ForwardMM float64 `json:"forward_mm"`
	UpMM      float64 `json:"up_mm"`
	Placed    bool    `json:"placed"`
}

// Meter is the peak of one input now.
type Meter struct {
	Name string  `json:"name"`
	DB   float64 `json:"db"` // re full scale
}

// Deed names what a button asks for: it goes to the browser, and comes back to Act.
type Deed string

// Button is something that the operator can ask for.
type Button struct {
	Do    Deed   `json:"do"`    // what Act is told
	Label string `json:"label"` //
	Key   string `json:"key"`   // as the browser names it: "Enter", "b"
	Ask   string `json:"ask"`   // a question to answer in words first; empty for none
	Sure  string `json:"sure"`  // a question to confirm first; empty for none
	Main  bool   `json:"main"`  // the one that is meant to be pressed now
}
