package policy

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"reflect"
)

// The memory of a zone is plain data: numbers, in structs, arrays and slices of one for
// each probe. It is laid out field by field, little endian, as encoding/binary does it,
// which takes no slices: before one stands its length, a byte.

// appendPlain appends what v, which can be set, holds. A kind that it does not know is a
// mistake in the program and panics.
func appendPlain(dst []byte, v reflect.Value) []byte {
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			dst = appendPlain(dst, v.Field(i))
		}
	case reflect.Slice:
		dst = appendElements(append(dst, uint8(v.Len())), v)
	case reflect.Array:
		dst = appendElements(dst, v)
	case reflect.Bool:
		b := uint8(0)
		if v.Bool() {
			b = 1
		}
		dst = append(dst, b)
	case reflect.Int8:
		dst = append(dst, uint8(v.Int()))
	case reflect.Int16:
		dst = binary.LittleEndian.AppendUint16(dst, uint16(v.Int()))
	case reflect.Int32:
		dst = binary.LittleEndian.AppendUint32(dst, uint32(v.Int()))
	case reflect.Int64:
		dst = binary.LittleEndian.AppendUint64(dst, uint64(v.Int()))
	case reflect.Uint8:
		dst = append(dst, uint8(v.Uint()))
	case reflect.Uint16:
		dst = binary.LittleEndian.AppendUint16(dst, uint16(v.Uint()))
	case reflect.Uint32:
		dst = binary.LittleEndian.AppendUint32(dst, uint32(v.Uint()))
	case reflect.Uint64:
		dst = binary.LittleEndian.AppendUint64(dst, v.Uint())
	case reflect.Float32:
		dst = binary.LittleEndian.AppendUint32(dst, math.Float32bits(float32(v.Float())))
	case reflect.Float64:
		dst = binary.LittleEndian.AppendUint64(dst, math.Float64bits(v.Float()))
	default:
		panic(notPlain(v))
	}
	return dst
}

func notPlain(v reflect.Value) string {
	return fmt.Sprintf("layout: %s is no plain data; expected numbers of a fixed size, structs, arrays and slices of them", v.Type())
}

// manyNumbers is from how many numbers next to each other on they are taken as a slice:
// asking each for its kind takes ten times as long, making the slice as long as some.
const manyNumbers = 8

func appendElements(dst []byte, v reflect.Value) []byte {
	if v.Len() >= manyNumbers {
		switch v.Index(0).Kind() {
		case reflect.Uint16:
			if numbers, ok := reflect.TypeAssert[[]uint16](v.Slice(0, v.Len())); ok {
				for _, n := range numbers {
					dst = binary.LittleEndian.AppendUint16(dst, n)
				}
				return dst
			}
		case reflect.Float32:
			if numbers, ok := reflect.TypeAssert[[]float32](v.Slice(0, v.Len())); ok {
				for _, n := range numbers {
					dst = binary.LittleEndian.AppendUint32(dst, math.Float32bits(n))
				}
				return dst
			}
		}
	}
	for i := range v.Len() {
		dst = appendPlain(dst, v.Index(i))
	}
	return dst
}

var errShort = errors.New("it ends too early: unexpected EOF")

// readPlain sets v to what appendPlain has appended and returns what follows. It refuses
// data that ends too early, and a slice of more than MaxProbes; v is then partly set.
func readPlain(src []byte, v reflect.Value) ([]byte, error) {
	switch v.Kind() {
	case reflect.Struct:
		var err error
		for i := 0; i < v.NumField() && err == nil; i++ {
			src, err = readPlain(src, v.Field(i))
		}
		return src, err
	case reflect.Slice:
		if len(src) == 0 {
			return nil, errShort
		}
		n := int(src[0])
		if n > MaxProbes {
			return nil, fmt.Errorf("it says %d of a thing that is kept for each probe; at most %d are read", n, MaxProbes)
		}
		v.SetZero()
		if n > 0 {
			v.Set(reflect.MakeSlice(v.Type(), n, n))
		}
		return readElements(src[1:], v)
	case reflect.Array:
		return readElements(src, v)
	case reflect.Bool, reflect.Int8, reflect.Uint8:
		if len(src) < 1 {
			return nil, errShort
		}
		switch v.Kind() {
		case reflect.Bool:
			v.SetBool(src[0] != 0)
		case reflect.Int8:
			v.SetInt(int64(int8(src[0])))
		default:
			v.SetUint(uint64(src[0]))
		}
		return src[1:], nil
	case reflect.Int16, reflect.Uint16:
		if len(src) < 2 {
			return nil, errShort
		}
		bits := binary.LittleEndian.Uint16(src)
		if v.Kind() == reflect.Int16 {
			v.SetInt(int64(int16(bits)))
		} else {
			v.SetUint(uint64(bits))
		}
		return src[2:], nil
	case reflect.Int32, reflect.Uint32, reflect.Float32:
		if len(src) < 4 {
			return nil, errShort
		}
		bits := binary.LittleEndian.Uint32(src)
		switch v.Kind() {
		case reflect.Int32:
			v.SetInt(int64(int32(bits)))
		case reflect.Uint32:
			v.SetUint(uint64(bits))
		default:
			v.SetFloat(float64(math.Float32frombits(bits)))
		}
		return src[4:], nil
	case reflect.Int64, reflect.Uint64, reflect.Float64:
		if len(src) < 8 {
			return nil, errShort
		}
		bits := binary.LittleEndian.Uint64(src)
		switch v.Kind() {
		case reflect.Int64:
			v.SetInt(int64(bits))
		case reflect.Uint64:
			v.SetUint(bits)
		default:
			v.SetFloat(math.Float64frombits(bits))
		}
		return src[8:], nil
	}
	panic(notPlain(v))
}

func readElements(src []byte, v reflect.Value) ([]byte, error) {
	if v.Len() >= manyNumbers {
		switch v.Index(0).Kind() {
		case reflect.Uint16:
			if numbers, ok := reflect.TypeAssert[[]uint16](v.Slice(0, v.Len())); ok {
				if len(src) < 2*len(numbers) {
					return nil, errShort
				}
				for i := range numbers {
					numbers[i] = binary.LittleEndian.Uint16(src[2*i:])
				}
				return src[2*len(numbers):], nil
			}
		case reflect.Float32:
			if numbers, ok := reflect.TypeAssert[[]float32](v.Slice(0, v.Len())); ok {
				if len(src) < 4*len(numbers) {
					return nil, errShort
				}
				for i := range numbers {
					numbers[i] = math.Float32frombits(binary.LittleEndian.Uint32(src[4*i:]))
				}
				return src[4*len(numbers):], nil
			}
		}
	}
	var err error
	for i := 0; i < v.Len() && err == nil; i++ {
		src, err = readPlain(src, v.Index(i))
	}
	return src, err
}
