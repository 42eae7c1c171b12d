//! Edit list of MP4 files (ISO/IEC 14496-12): start and length of the audio.

use std::io::{self, Read, Seek, SeekFrom};

/// Edit list (box `elst`) of the first audio track.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct EditList {
    /// Start of the audio, s.
    pub(super) start_s: Option<f64>,
    /// Length of the audio, s.
    pub(super) length_s: Option<f64>,
}

/// Reads the edit list from `moov/mvhd` and, of the first audio track, `edts/elst` and `mdia/mdhd`.
pub(super) fn edit<R: Read + Seek>(file: &mut R) -> io::Result<EditList> {
    let end = file.seek(SeekFrom::End(0))?;
    file.rewind()?;
    let mut head = [0; 8];
    file.read_exact(&mut head)?;
    if &head[4..] != b"ftyp" {
        return Ok(EditList::default());
    }
    let Some((from, to)) = find_box(file, 0, end, b"moov")? else { return Ok(EditList::default()) };
    let movie_scale = match find_box(file, from, to, b"mvhd")? {
        Some((start, _)) => time_scale(file, start)?,
        None => return Ok(EditList::default()),
    };
    let mut cursor = from;
    while let Some((start, stop)) = find_box(file, cursor, to, b"trak")? {
        cursor = stop;
        let Some((media, media_end)) = find_box(file, start, stop, b"mdia")? else { continue };
        let Some((handler, _)) = find_box(file, media, media_end, b"hdlr")? else { continue };
        let mut words = [0; 12];
        file.seek(SeekFrom::Start(handler))?;
        file.read_exact(&mut words)?;
        if &words[8..] != b"soun" {
            continue;
        }
        let Some((header, _)) = find_box(file, media, media_end, b"mdhd")? else { break };
        let media_scale = time_scale(file, header)?;
        let Some((edits, edits_end)) = find_box(file, start, stop, b"edts")? else { break };
        let Some((list, _)) = find_box(file, edits, edits_end, b"elst")? else { break };
        return read_edits(file, list, movie_scale, media_scale);
    }
    Ok(EditList::default())
}

fn read_edits<R: Read + Seek>(file: &mut R, at: u64, movie_scale: u32, media_scale: u32) -> io::Result<EditList> {
    file.seek(SeekFrom::Start(at))?;
    let wide = read_u32(file)? >> 24 == 1;
    let count = read_u32(file)?.min(64);
    let mut sounding = Vec::new();
    for _ in 0..count {
        let (length, start) = if wide {
            (read_u64(file)?, read_u64(file)? as i64)
        } else {
            (u64::from(read_u32(file)?), i64::from(read_u32(file)? as i32))
        };
        read_u32(file)?;
        if start >= 0 {
            sounding.push((length, start));
        }
    }
    // Several edits are an edited programme, not an encoder delay.
    let ([(length, start)], true) = (&sounding[..], movie_scale > 0 && media_scale > 0) else {
        return Ok(EditList::default());
    };
    let length_s = (*length > 0).then(|| *length as f64 / f64::from(movie_scale));
    Ok(EditList { start_s: Some(*start as f64 / f64::from(media_scale)), length_s })
}

/// Finds the first box of a kind between two positions. Returns start and end of its contents.
fn find_box<R: Read + Seek>(file: &mut R, from: u64, to: u64, kind: &[u8; 4]) -> io::Result<Option<(u64, u64)>> {
    let mut at = from;
    while at + 8 <= to {
        file.seek(SeekFrom::Start(at))?;
        let size = u64::from(read_u32(file)?);
        let mut name = [0; 4];
        file.read_exact(&mut name)?;
        let (header, size) = match size {
            0 => (8, to - at),
            1 => (16, read_u64(file)?),
            size => (8, size),
        };
        if size < header || size > to - at {
            return Ok(None);
        }
        if &name == kind {
            return Ok(Some((at + header, at + size)));
        }
        at += size;
    }
    Ok(None)
}

/// Time scale of an `mvhd` or `mdhd` box, ticks per second.
fn time_scale<R: Read + Seek>(file: &mut R, at: u64) -> io::Result<u32> {
    file.seek(SeekFrom::Start(at))?;
    let wide = read_u32(file)? >> 24 == 1;
    file.seek(SeekFrom::Start(at + if wide { 20 } else { 12 }))?;
    read_u32(file)
}

fn read_u32<R: Read>(file: &mut R) -> io::Result<u32> {
    let mut bytes = [0; 4];
    file.read_exact(&mut bytes)?;
    Ok(u32::from_be_bytes(bytes))
}

fn read_u64<R: Read>(file: &mut R) -> io::Result<u64> {
    let mut bytes = [0; 8];
    file.read_exact(&mut bytes)?;
    Ok(u64::from_be_bytes(bytes))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn boxed(kind: &[u8; 4], contents: &[&[u8]]) -> Vec<u8> {
        let contents = contents.concat();
        [&(contents.len() as u32 + 8).to_be_bytes()[..], kind, &contents].concat()
    }

    fn words(words: &[u32]) -> Vec<u8> {
        words.iter().flat_map(|w| w.to_be_bytes()).collect()
    }

    fn movie(edits: &[u8]) -> Vec<u8> {
        let track = |handler: &[u8; 4], scale: u32| {
            boxed(
                b"trak",
                &[
                    &boxed(b"edts", &[&boxed(b"elst", &[edits])]),
                    &boxed(
                        b"mdia",
                        &[
                            &boxed(b"mdhd", &[&words(&[0, 0, 0, scale, 0])]),
                            &boxed(b"hdlr", &[&[0; 8], handler, &[0; 12]]),
                        ],
                    ),
                ],
            )
        };
        let header = boxed(b"mvhd", &[&words(&[0, 0, 0, 600, 0])]);
        let moov = boxed(b"moov", &[&header, &track(b"vide", 90_000), &track(b"soun", 44_100)]);
        [boxed(b"ftyp", &[b"M4A "]), boxed(b"mdat", &[&[9; 333]]), moov].concat()
    }

    #[test]
    fn the_edit_list_states_delay_and_length() {
        let read = |edits: &[u8]| edit(&mut io::Cursor::new(movie(edits))).unwrap();
        // ISO/IEC 14496-12 box layout (from memory): version and flags, count, then length, start, rate.
        let one = read(&words(&[0, 1, 1_200, 2_112, 0x10000]));
        assert_eq!(one, EditList { start_s: Some(2_112.0 / 44_100.0), length_s: Some(2.0) });
        let wide = read(&words(&[0x0100_0000, 1, 0, 600, 0, 1_024, 0x10000]));
        assert_eq!(wide, EditList { start_s: Some(1_024.0 / 44_100.0), length_s: Some(1.0) });
        let after_pause = read(&words(&[0, 2, 60, u32::MAX, 0x10000, 0, 1_024, 0x10000]));
        assert_eq!(after_pause, EditList { start_s: Some(1_024.0 / 44_100.0), length_s: None });
        assert_eq!(read(&words(&[0, 2, 60, 0, 0x10000, 60, 9_000, 0x10000])), EditList::default());
    }
}
