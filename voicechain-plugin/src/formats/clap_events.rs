//! Events of a CLAP block, none of them behind its end.

use clap_sys::events::{clap_event_header, clap_input_events};
use std::cell::UnsafeCell;
use std::ptr;

/// Room for a copy of an event. All events of the format's core fit, except for what they point to.
const ROOM: usize = 256;

#[repr(align(8))]
struct MovedEvent([u8; ROOM]);

/// List of events in front of the host's. An event behind the end of the block is moved to the last frame; hosts send
/// such events by mistake, and the framework would split the block there.
pub(super) struct BoundedEvents {
    host: *const clap_input_events,
    last_frame: u32,
    /// The moved event. The format keeps an event valid only until the host's list is used again.
    moved: UnsafeCell<MovedEvent>,
}

#[allow(unsafe_code)]
impl BoundedEvents {
    /// List for a block of `frames` frames. `host` may be null.
    pub(super) fn new(host: *const clap_input_events, frames: u32) -> Self {
        Self { host, last_frame: frames.saturating_sub(1), moved: UnsafeCell::new(MovedEvent([0; ROOM])) }
    }

    /// The list as the format describes it, valid as long as `self`.
    pub(super) fn list(&self) -> clap_input_events {
        clap_input_events { ctx: ptr::from_ref(self).cast_mut().cast(), size: Some(size), get: Some(get) }
    }

    /// # Safety
    /// The host's list and its events are valid.
    unsafe fn event(&self, index: u32) -> *const clap_event_header {
        // SAFETY: the caller guarantees it.
        unsafe {
            let Some(event) = (*self.host).get.map(|get| get(self.host, index)).filter(|event| !event.is_null()) else {
                return ptr::null();
            };
            if (*event).time <= self.last_frame {
                return event;
            }
            let size = (*event).size as usize;
            if !(size_of::<clap_event_header>()..=ROOM).contains(&size) {
                return ptr::null();
            }
            let moved = (&raw mut (*self.moved.get()).0).cast::<u8>();
            ptr::copy_nonoverlapping(event.cast(), moved, size);
            (*moved.cast::<clap_event_header>()).time = self.last_frame;
            moved.cast()
        }
    }
}

#[allow(unsafe_code)]
unsafe extern "C" fn size(list: *const clap_input_events) -> u32 {
    // SAFETY: `list` sets the context, and the host's list is not null there.
    unsafe {
        let host = (*(*list).ctx.cast::<BoundedEvents>()).host;
        (*host).size.map_or(0, |size| size(host))
    }
}

#[allow(unsafe_code)]
unsafe extern "C" fn get(list: *const clap_input_events, index: u32) -> *const clap_event_header {
    // SAFETY: as above.
    unsafe { (*(*list).ctx.cast::<BoundedEvents>()).event(index) }
}
