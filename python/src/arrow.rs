//! Tables out and in by the Arrow C stream interface, without copies.
//!
//! The interface: <https://arrow.apache.org/docs/format/CStreamInterface.html> and, for the capsules,
//! <https://arrow.apache.org/docs/format/CDataInterface/PyCapsuleInterface.html>.

use std::any::Any;
use std::ffi::CStr;
use std::path::PathBuf;

use polars_arrow::array::{
    Array, BooleanArray, DictionaryArray, DictionaryKey, PrimitiveArray, StructArray, Utf8Array, Utf8ViewArray,
};
use polars_arrow::datatypes::{ArrowDataType, Field, IntegerType};
use polars_arrow::ffi::{ArrowArrayStream, ArrowArrayStreamReader, ArrowSchema, export_field_to_c, export_iterator};
use polars_arrow::types::NativeType;
use pyo3::exceptions::{PyKeyError, PyTypeError};
use pyo3::prelude::*;
use pyo3::types::PyCapsule;
use yearlight::tables;

use crate::error::Words;

const STREAM: &CStr = c"arrow_array_stream";
const SCHEMA: &CStr = c"arrow_schema";

/// Rows of one batch at most: texts have 32-bit offsets, which every reader knows.
const BATCH: usize = 1 << 20;

/// A table of results. Its columns are shared with whoever takes them, never copied.
#[pyclass(frozen, module = "yearlight._core")]
pub struct Table {
    fields: Vec<Field>,
    batches: Vec<Vec<Box<dyn Array>>>,
    rows: usize,
}

impl Table {
    /// The columns of numbers move in as they are; texts are laid end to end.
    pub fn of(table: tables::Table) -> Table {
        let rows = table.rows();
        let cuts: Vec<(usize, usize)> = match rows {
            0 => vec![(0, 0)],
            _ => (0..rows.div_ceil(BATCH)).map(|b| (b * BATCH, BATCH.min(rows - b * BATCH))).collect(),
        };
        let mut fields = Vec::new();
        let mut batches: Vec<Vec<Box<dyn Array>>> = vec![Vec::new(); cuts.len()];
        for (name, column) in table.into_columns() {
            let sliced = |array: Box<dyn Array>| cuts.iter().map(|(at, n)| array.sliced(*at, *n)).collect::<Vec<_>>();
            let (dtype, arrays) = match column {
                tables::Column::Number(x) => (ArrowDataType::Float64, sliced(PrimitiveArray::from_vec(x).boxed())),
                tables::Column::Whole(x) => (ArrowDataType::Int64, sliced(PrimitiveArray::from_vec(x).boxed())),
                tables::Column::Text(x) => {
                    let cut = |(at, n): &(usize, usize)| Utf8Array::<i32>::from_slice(&x[*at..at + n]).boxed();
                    (ArrowDataType::Utf8, cuts.iter().map(cut).collect())
                }
            };
            fields.push(Field::new(name.into(), dtype, true));
            for (batch, array) in batches.iter_mut().zip(arrays) {
                batch.push(array);
            }
        }
        Table { fields, batches, rows }
    }

    /// The columns as the engine has them.
    fn table(&self) -> tables::Table {
        let mut table = tables::Table::new();
        for (place, field) in self.fields.iter().enumerate() {
            let arrays = || self.batches.iter().map(|batch| batch[place].as_any());
            let text = |x: &Utf8Array<i32>| x.values_iter().map(str::to_string).collect::<Vec<_>>();
            table = match field.dtype {
                ArrowDataType::Float64 => {
                    table.number(&field.name, arrays().flat_map(values::<f64>).copied().collect())
                }
                ArrowDataType::Int64 => table.whole(&field.name, arrays().flat_map(values::<i64>).copied().collect()),
                _ => table.text(&field.name, arrays().filter_map(|a| a.downcast_ref()).flat_map(text).collect()),
            };
        }
        table
    }

    fn field(&self) -> Field {
        Field::new("".into(), ArrowDataType::Struct(self.fields.clone()), false)
    }

    fn place(&self, name: &str) -> PyResult<usize> {
        let place = self.fields.iter().position(|f| f.name == name);
        place.ok_or_else(|| PyKeyError::new_err(format!("there is no column {name}")))
    }
}

#[pymethods]
impl Table {
    /// The table as a stream of record batches.
    #[pyo3(signature = (requested_schema=None))]
    fn __arrow_c_stream__<'py>(
        &self,
        py: Python<'py>,
        requested_schema: Option<Bound<'py, PyAny>>,
    ) -> PyResult<Bound<'py, PyCapsule>> {
        // A request for other types may be passed over; the reader then converts by itself.
        drop(requested_schema);
        let field = self.field();
        let dtype = field.dtype.clone();
        let batches: Vec<_> = self
            .batches
            .iter()
            .map(|columns| {
                let rows = columns.first().map_or(0, |c| c.len());
                StructArray::try_new(dtype.clone(), rows, columns.clone(), None).map(StructArray::boxed)
            })
            .collect();
        let stream = export_iterator(Box::new(batches.into_iter()), field);
        PyCapsule::new_with_value(py, stream, STREAM)
    }

    /// Names and types of the columns.
    fn __arrow_c_schema__<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyCapsule>> {
        let schema: ArrowSchema = export_field_to_c(&self.field());
        PyCapsule::new_with_value(py, Schema(schema), SCHEMA)
    }

    fn __len__(&self) -> usize {
        self.rows
    }

    /// Names of the columns, in order.
    #[getter]
    fn columns(&self) -> Vec<String> {
        self.fields.iter().map(|f| f.name.to_string()).collect()
    }

    /// The values of a column as a list.
    fn column<'py>(&self, py: Python<'py>, name: &str) -> PyResult<Bound<'py, PyAny>> {
        let place = self.place(name)?;
        let list = pyo3::types::PyList::empty(py);
        for batch in &self.batches {
            let array = batch[place].as_any();
            if let Some(x) = array.downcast_ref::<PrimitiveArray<f64>>() {
                x.values().iter().try_for_each(|v| list.append(*v))?;
            } else if let Some(x) = array.downcast_ref::<PrimitiveArray<i64>>() {
                x.values().iter().try_for_each(|v| list.append(*v))?;
            } else if let Some(x) = array.downcast_ref::<Utf8Array<i32>>() {
                x.values_iter().try_for_each(|v| list.append(v))?;
            }
        }
        Ok(list.into_any())
    }

    /// Writes the table as Parquet or, by the ending, as CSV: the bytes of the command line.
    fn write(&self, py: Python<'_>, path: PathBuf) -> PyResult<()> {
        let written = py.detach(|| {
            let table = self.table();
            let csv = path.extension().is_some_and(|e| e.eq_ignore_ascii_case("csv"));
            let result = if csv { tables::write_csv(&table, &path) } else { tables::write_parquet(&table, &path) };
            result.map_err(|e| Words::of(&e))
        });
        written.map_err(|e| e.raise(py))
    }

    /// Where the numbers of a column lie in memory: one address for each batch. For checks that nothing is copied.
    fn addresses(&self, name: &str) -> PyResult<Vec<usize>> {
        let place = self.place(name)?;
        let address = |batch: &Vec<Box<dyn Array>>| {
            let array = batch[place].as_any();
            array.downcast_ref::<PrimitiveArray<f64>>().map(|x| x.values().as_slice().as_ptr() as usize).or_else(|| {
                array.downcast_ref::<PrimitiveArray<i64>>().map(|x| x.values().as_slice().as_ptr() as usize)
            })
        };
        Ok(self.batches.iter().filter_map(address).collect())
    }
}

/// The numbers of an array of that kind; none of another.
fn values<T: NativeType>(array: &dyn Any) -> &[T] {
    array.downcast_ref::<PrimitiveArray<T>>().map_or(&[], |x| x.values().as_slice())
}

/// The struct of the interface with the layout that it names, as one that may move between threads.
#[repr(transparent)]
struct Schema(#[allow(dead_code)] ArrowSchema);

// SAFETY: the schema owns its strings and children, and nothing else refers to them.
unsafe impl Send for Schema {}

/// A table that somebody else holds: columns by name, in batches.
pub struct Taken {
    /// Names of the columns.
    pub names: Vec<String>,
    /// Number of rows.
    pub rows: usize,
    batches: Vec<StructArray>,
    /// First row of each batch.
    starts: Vec<usize>,
}

impl Taken {
    /// From any object with `__arrow_c_stream__`.
    ///
    /// # Errors
    /// `TypeError` for other objects, or columns of kinds that cannot be a cell.
    pub fn of(object: &Bound<'_, PyAny>) -> PyResult<Taken> {
        let no_table = || {
            let kind = object.get_type().name().map_or_else(|_| "?".to_string(), |n| n.to_string());
            PyTypeError::new_err(format!(
                "the table is a {kind}; expected a table that gives Arrow data, as those of polars, pyarrow and pandas \
                 do.\n  Wrap rows or columns first, for example polars.DataFrame(rows)."
            ))
        };
        let method = object.getattr("__arrow_c_stream__").map_err(|_| no_table())?;
        let capsule = method.call0()?.cast_into::<PyCapsule>().map_err(|_| no_table())?;
        let pointer = capsule.pointer_checked(Some(STREAM))?.cast::<ArrowArrayStream>();
        // SAFETY: the capsule bears the name of the interface, so that it holds such a stream; what is left behind is
        // marked as released, as the interface asks of one who takes it.
        let stream = unsafe { std::mem::replace(&mut *pointer.as_ptr(), ArrowArrayStream::empty()) };
        let broken =
            |e: &dyn std::fmt::Display| PyTypeError::new_err(format!("the table cannot be read as Arrow data: {e}"));
        // SAFETY: the stream is as its producer made it.
        let mut reader = unsafe { ArrowArrayStreamReader::try_new(Box::new(stream)) }.map_err(|e| broken(&e))?;
        let ArrowDataType::Struct(fields) = reader.field().dtype().clone() else {
            return Err(broken(&"it is a single column; expected a table"));
        };
        for field in &fields {
            if !fits(&field.dtype) {
                return Err(PyTypeError::new_err(format!(
                    "the column {} holds {:?}; expected text, numbers, or true and false.\n  Turn it into text first.",
                    field.name, field.dtype
                )));
            }
        }
        let mut taken = Taken {
            names: fields.iter().map(|f| f.name.to_string()).collect(),
            rows: 0,
            batches: Vec::new(),
            starts: Vec::new(),
        };
        // SAFETY: as above.
        while let Some(array) = unsafe { reader.next() } {
            let array = array.map_err(|e| broken(&e))?;
            let Some(batch) = array.as_any().downcast_ref::<StructArray>() else {
                return Err(broken(&"a batch is no table"));
            };
            if batch.len() > 0 {
                taken.starts.push(taken.rows);
                taken.rows += batch.len();
                taken.batches.push(batch.clone());
            }
        }
        Ok(taken)
    }

    /// A cell as it would stand in a CSV: shortest digits that read back the same, empty for nothing.
    pub fn cell(&self, row: usize, column: usize) -> String {
        let at = self.starts.partition_point(|s| *s <= row) - 1;
        text_of(self.batches[at].values()[column].as_ref(), row - self.starts[at])
    }
}

/// Whether values of a kind can be cells.
fn fits(dtype: &ArrowDataType) -> bool {
    use ArrowDataType as D;
    match dtype {
        D::Dictionary(_, values, _) => fits(values),
        D::Null | D::Boolean | D::Utf8 | D::LargeUtf8 | D::Utf8View | D::Float32 | D::Float64 => true,
        D::Int8 | D::Int16 | D::Int32 | D::Int64 | D::UInt8 | D::UInt16 | D::UInt32 | D::UInt64 => true,
        _ => false,
    }
}

fn text_of(array: &dyn Array, row: usize) -> String {
    use ArrowDataType as D;
    if array.is_null(row) {
        return String::new();
    }
    fn get<A: 'static>(array: &dyn Array) -> Option<&A> {
        array.as_any().downcast_ref::<A>()
    }
    fn whole<T: NativeType>(array: &dyn Array, row: usize) -> Option<String> {
        get::<PrimitiveArray<T>>(array).map(|x| x.value(row).to_string())
    }
    fn by_key<K: DictionaryKey>(array: &dyn Array, row: usize) -> Option<String> {
        get::<DictionaryArray<K>>(array).map(|x| text_of(x.values().as_ref(), x.key_value(row)))
    }
    let text = match array.dtype() {
        D::Utf8 => get::<Utf8Array<i32>>(array).map(|x| x.value(row).to_string()),
        D::LargeUtf8 => get::<Utf8Array<i64>>(array).map(|x| x.value(row).to_string()),
        D::Utf8View => get::<Utf8ViewArray>(array).map(|x| x.value(row).to_string()),
        D::Boolean => get::<BooleanArray>(array).map(|x| x.value(row).to_string()),
        D::Float64 => get::<PrimitiveArray<f64>>(array).map(|x| number(x.value(row))),
        D::Float32 => get::<PrimitiveArray<f32>>(array).map(|x| number(f64::from(x.value(row)))),
        D::Int8 => whole::<i8>(array, row),
        D::Int16 => whole::<i16>(array, row),
        D::Int32 => whole::<i32>(array, row),
        D::Int64 => whole::<i64>(array, row),
        D::UInt8 => whole::<u8>(array, row),
        D::UInt16 => whole::<u16>(array, row),
        D::UInt32 => whole::<u32>(array, row),
        D::UInt64 => whole::<u64>(array, row),
        D::Dictionary(key, _, _) => match key {
            IntegerType::Int8 => by_key::<i8>(array, row),
            IntegerType::Int16 => by_key::<i16>(array, row),
            IntegerType::Int32 => by_key::<i32>(array, row),
            IntegerType::Int64 => by_key::<i64>(array, row),
            IntegerType::UInt8 => by_key::<u8>(array, row),
            IntegerType::UInt16 => by_key::<u16>(array, row),
            IntegerType::UInt32 => by_key::<u32>(array, row),
            IntegerType::UInt64 => by_key::<u64>(array, row),
            _ => None,
        },
        _ => None,
    };
    text.unwrap_or_default()
}

/// Not a number is nothing, as data frames have it; a whole number is written without a point.
fn number(x: f64) -> String {
    if x.is_nan() { String::new() } else { x.to_string() }
}
