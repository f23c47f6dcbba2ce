package codec

// unread are the transfer syntaxes that are known by name alone (PS3.6 table
// A-1; retired ones as they last stood there).
func unread() map[string]Syntax {
	const (
		retired   = "the pixel data are compressed in a way that the standard has given up; decompress the file with a DICOM toolkit first"
		packed    = "the pixel data are compressed in a way that is not read here; decompress the file with a DICOM toolkit first"
		video     = "the pixel data are a video; export the run as single images, or as a multi-frame image that is not a video"
		elsewhere = "the pixel data are not in the file but on a server; export the file again with its pixel data"
		flow      = "this is for pictures on their way, not for files; export the images as DICOM files"
		document  = "this is not how a DICOM image file is written; export the images as DICOM files"
	)
	m := map[string]Syntax{}
	add := func(instead string, encapsulated bool, names map[string]string) {
		for uid, name := range names {
			uid = "1.2.840.10008.1.2" + uid
			m[uid] = Syntax{UID: uid, Name: name, Encapsulated: encapsulated, Instead: instead}
		}
	}
	add(retired, true, map[string]string{
		".4.52": "JPEG Extended, arithmetic coding (Process 3 and 5)",
		".4.53": "JPEG Spectral Selection (Process 6 and 8)",
		".4.54": "JPEG Spectral Selection, arithmetic coding (Process 7 and 9)",
		".4.55": "JPEG Full Progression (Process 10 and 12)",
		".4.56": "JPEG Full Progression, arithmetic coding (Process 11 and 13)",
		".4.58": "JPEG Lossless, arithmetic coding (Process 15)",
		".4.59": "JPEG Extended, Hierarchical (Process 16 and 18)",
		".4.60": "JPEG Extended, Hierarchical, arithmetic coding (Process 17 and 19)",
		".4.61": "JPEG Spectral Selection, Hierarchical (Process 20 and 22)",
		".4.62": "JPEG Spectral Selection, Hierarchical, arithmetic coding (Process 21 and 23)",
		".4.63": "JPEG Full Progression, Hierarchical (Process 24 and 26)",
		".4.64": "JPEG Full Progression, Hierarchical, arithmetic coding (Process 25 and 27)",
		".4.65": "JPEG Lossless, Hierarchical (Process 28)",
		".4.66": "JPEG Lossless, Hierarchical, arithmetic coding (Process 29)",
	})
	add(packed, true, map[string]string{
		".4.92":  "JPEG 2000 Part 2 multi-component lossless",
		".4.93":  "JPEG 2000 Part 2 multi-component",
		".4.110": "JPEG XL lossless",
		".4.111": "JPEG XL, recompressed JPEG",
		".4.112": "JPEG XL",
		".4.201": "High-Throughput JPEG 2000 lossless",
		".4.202": "High-Throughput JPEG 2000 lossless, RPCL",
		".4.203": "High-Throughput JPEG 2000",
		".8.1":   "Deflated Image Frame Compression",
	})
	add(video, true, map[string]string{
		".4.100":   "MPEG2 Main Profile / Main Level",
		".4.100.1": "MPEG2 Main Profile / Main Level, fragmentable",
		".4.101":   "MPEG2 Main Profile / High Level",
		".4.101.1": "MPEG2 Main Profile / High Level, fragmentable",
		".4.102":   "MPEG-4 AVC/H.264 High Profile / Level 4.1",
		".4.102.1": "MPEG-4 AVC/H.264 High Profile / Level 4.1, fragmentable",
		".4.103":   "MPEG-4 AVC/H.264 BD-compatible",
		".4.103.1": "MPEG-4 AVC/H.264 BD-compatible, fragmentable",
		".4.104":   "MPEG-4 AVC/H.264 High Profile / Level 4.2, 2D",
		".4.104.1": "MPEG-4 AVC/H.264 High Profile / Level 4.2, 2D, fragmentable",
		".4.105":   "MPEG-4 AVC/H.264 High Profile / Level 4.2, 3D",
		".4.105.1": "MPEG-4 AVC/H.264 High Profile / Level 4.2, 3D, fragmentable",
		".4.106":   "MPEG-4 AVC/H.264 Stereo",
		".4.106.1": "MPEG-4 AVC/H.264 Stereo, fragmentable",
		".4.107":   "HEVC/H.265 Main Profile",
		".4.108":   "HEVC/H.265 Main 10 Profile",
	})
	add(elsewhere, false, map[string]string{
		".4.94":  "JPIP Referenced",
		".4.95":  "JPIP Referenced Deflate",
		".4.204": "JPIP HTJ2K Referenced",
		".4.205": "JPIP HTJ2K Referenced Deflate",
	})
	add(flow, false, map[string]string{
		".7.1": "SMPTE ST 2110-20 uncompressed progressive video",
		".7.2": "SMPTE ST 2110-20 uncompressed interlaced video",
		".7.3": "SMPTE ST 2110-30 PCM digital audio",
	})
	add(document, false, map[string]string{
		".6.1": "RFC 2557 MIME encapsulation",
		".6.2": "XML Encoding",
	})
	m["1.2.840.10008.1.20"] = Syntax{UID: "1.2.840.10008.1.20", Name: "Papyrus 3 Implicit VR Little Endian", ImplicitVR: true, Instead: document}
	return m
}
