//! Numbers as binary files hold them.

/// A kind of number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum NumberType {
    I8,
    U8,
    I16,
    U16,
    I32,
    U32,
    I64,
    U64,
    F32,
    F64,
}

impl NumberType {
    /// By its name in VTK's legacy format.
    pub fn of_legacy(name: &str) -> Option<NumberType> {
        Some(match name {
            "char" => NumberType::I8,
            "unsigned_char" => NumberType::U8,
            "short" => NumberType::I16,
            "unsigned_short" => NumberType::U16,
            "int" | "vtkIdType" => NumberType::I32,
            "unsigned_int" => NumberType::U32,
            "long" | "vtktypeint64" => NumberType::I64,
            "unsigned_long" => NumberType::U64,
            "float" => NumberType::F32,
            "double" => NumberType::F64,
            _ => return None,
        })
    }

    /// By its name in VTK's XML format.
    pub fn of_xml(name: &str) -> Option<NumberType> {
        Some(match name {
            "Int8" => NumberType::I8,
            "UInt8" => NumberType::U8,
            "Int16" => NumberType::I16,
            "UInt16" => NumberType::U16,
            "Int32" => NumberType::I32,
            "UInt32" => NumberType::U32,
            "Int64" => NumberType::I64,
            "UInt64" => NumberType::U64,
            "Float32" => NumberType::F32,
            "Float64" => NumberType::F64,
            _ => return None,
        })
    }

    /// Bytes of a number.
    pub fn size(self) -> usize {
        match self {
            NumberType::I8 | NumberType::U8 => 1,
            NumberType::I16 | NumberType::U16 => 2,
            NumberType::I32 | NumberType::U32 | NumberType::F32 => 4,
            NumberType::I64 | NumberType::U64 | NumberType::F64 => 8,
        }
    }

    /// The numbers in `bytes`, whose length is a multiple of the size.
    pub fn all(self, bytes: &[u8], big_endian: bool) -> Vec<f64> {
        fn ordered<const N: usize>(chunk: &[u8], big_endian: bool) -> [u8; N] {
            let mut bytes: [u8; N] = chunk.try_into().expect("chunks of the number's size");
            if big_endian {
                bytes.reverse();
            }
            bytes
        }
        let one = |c: &[u8]| match self {
            NumberType::I8 => f64::from(i8::from_le_bytes(ordered(c, big_endian))),
            NumberType::U8 => f64::from(c[0]),
            NumberType::I16 => f64::from(i16::from_le_bytes(ordered(c, big_endian))),
            NumberType::U16 => f64::from(u16::from_le_bytes(ordered(c, big_endian))),
            NumberType::I32 => f64::from(i32::from_le_bytes(ordered(c, big_endian))),
            NumberType::U32 => f64::from(u32::from_le_bytes(ordered(c, big_endian))),
            NumberType::I64 => i64::from_le_bytes(ordered(c, big_endian)) as f64,
            NumberType::U64 => u64::from_le_bytes(ordered(c, big_endian)) as f64,
            NumberType::F32 => f64::from(f32::from_le_bytes(ordered(c, big_endian))),
            NumberType::F64 => f64::from_le_bytes(ordered(c, big_endian)),
        };
        bytes.chunks_exact(self.size()).map(one).collect()
    }
}
