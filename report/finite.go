package report

import (
	"math"
	"reflect"
	"strconv"
	"strings"
)

// NotFinite returns the path of the first NaN or infinity among the numbers that
// v has in JSON, "" when there is none.
func NotFinite(v any) string { return notFinite(reflect.ValueOf(v), "") }

// notFinite returns the path of the first NaN or infinity in v, "" when none.
func notFinite(v reflect.Value, at string) string {
	switch v.Kind() {
	case reflect.Float64, reflect.Float32:
		if f := v.Float(); math.IsNaN(f) || math.IsInf(f, 0) {
			return at
		}
	case reflect.Pointer, reflect.Interface:
		if !v.IsNil() {
			return notFinite(v.Elem(), at)
		}
	case reflect.Slice, reflect.Array:
		switch v.Type().Elem().Kind() {
		case reflect.Bool, reflect.String, reflect.Uint8, reflect.Int:
			return ""
		case reflect.Float64: // most values by far: no path is put together for each
			for i := range v.Len() {
				if f := v.Index(i).Float(); f-f != 0 {
					return at + "[" + strconv.Itoa(i) + "]"
				}
			}
			return ""
		}
		for i := range v.Len() {
			if s := notFinite(v.Index(i), at+"["+strconv.Itoa(i)+"]"); s != "" {
				return s
			}
		}
	case reflect.Struct:
		for i := range v.NumField() {
			f := v.Type().Field(i)
			name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
			if name == "-" || !f.IsExported() {
				continue
			}
			sub := at
			if !f.Anonymous || name != "" {
				sub = strings.TrimPrefix(at+"."+name, ".")
			}
			if s := notFinite(v.Field(i), sub); s != "" {
				return s
			}
		}
	}
	return ""
}
