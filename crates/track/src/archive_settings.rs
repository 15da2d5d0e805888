//! Caps on what an archive may unpack to.

crate::settings! {
    /// Guards against archives that unpack to more than anyone could have recorded.
    ///
    /// The caps are own choices, far above what recordings need: GPX and TCX shrink to a tenth or a thirtieth, rarely
    /// below a hundredth, while deflate can reach a thousandth and archives inside archives any figure.
    ///
    /// ```
    /// use boutwise_track::ArchiveSettings;
    ///
    /// let settings = ArchiveSettings { max_depth: 1, ..ArchiveSettings::default() };
    /// assert_eq!(settings.max_ratio, 200);
    /// ```
    ArchiveSettings {
        /// How many archives may lie inside one another; also how many streams (gzip, Zstandard) may.
        max_depth: usize = 3, "archives", 0..16, "own choice";
        /// How many times its packed size a member, and a whole file, may unpack to.
        max_ratio: u64 = 200, "times", 1..100000, "own choice";
        /// Below this unpacked size the ratio is not looked at.
        max_ratio_from_bytes: u64 = 1048576, "bytes", 0..1000000000, "own choice";
        /// The most that one file, loose or a member, may hold. It is in memory as a whole.
        max_file_bytes: u64 = 1073741824, "bytes", 1000..1000000000000.0, "own choice";
        /// The most that everything in one file may unpack to.
        max_total_bytes: u64 = 8589934592.0, "bytes", 1000..1000000000000.0, "own choice";
        /// How many members one file may hold, archives inside it included.
        max_members: usize = 100000, "members", 1..10000000, "own choice";
        /// How many bytes of files may be in work at one time, over all threads together; a file that is larger is in work alone.
        max_bytes_at_once: u64 = 67108864, "bytes", 1000000..1000000000000.0, "own choice: with what is made of them, less than 1 GB";
    }
}
