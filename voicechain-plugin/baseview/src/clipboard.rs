pub fn copy_to_clipboard(data: &str) {
    crate::platform::copy_to_clipboard(data)
}
